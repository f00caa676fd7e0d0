"""What was hung, measured, fitted and decided at each place, kept on this machine in files one can read and share."""
