"""Exit codes of the command line; `linewright.cli` says what each means."""

EXIT_INPUT = 2
EXIT_LINK = 3
EXIT_BUG = 70  # EX_SOFTWARE of sysexits.h
EXIT_STOPPED = 130  # 128 + SIGINT, as shells report it
