"""Questions asked of the model: study files, sweeps, tables, plots, pages, command line."""
