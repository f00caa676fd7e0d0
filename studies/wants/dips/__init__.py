"""Where each band dips, and how the SWR runs."""
