"""The command. Ctrl-C while our modules are still being loaded ends it as it ends any program:
nothing has begun, so nothing is said."""

import os
import signal


def main() -> None:
    """Load the commands, then run them."""
    # numpy's library for matrices starts a thread for each core when it is loaded: .04 s of
    # processor time here and in each process that begins from nothing, for nothing we compute
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    usual = signal.getsignal(signal.SIGINT)
    if usual is signal.default_int_handler:  # else: it was started with Ctrl-C ignored
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from sectionprep.cli import main as run

    signal.signal(signal.SIGINT, usual)
    run()


if __name__ == "__main__":
    main()
