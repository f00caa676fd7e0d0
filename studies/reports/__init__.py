"""A result on disk and on paper: answers in words, tables, pages, slides, card decks."""
