"""The command. Ctrl-C while our modules are still being loaded ends it as it ends any program:
nothing has begun, so nothing is said."""

import signal


def main() -> None:
    """Load the commands, then run them."""
    usual = signal.getsignal(signal.SIGINT)
    if usual is signal.default_int_handler:  # else: it was started with Ctrl-C ignored
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from sectionprep.cli import main as run

    signal.signal(signal.SIGINT, usual)
    run()


if __name__ == "__main__":
    main()
