"""Hunts for crashes through the real commands: `python tests/fuzz_commands.py --cases 400`.

Every case is a folder of files and a command line. By kinds: damaged scores (as in fuzz.py), legal
odd music (odd_music.py), plans and rosters, workbooks, archives, names, options, and what is no
ordinary file. The commands run in a process forked from this one, which has all libraries loaded,
so that a refusal costs hundredths of a second. A finding is: a traceback, exit code 1 or one that
the README does not have, a death by a signal, more than ten seconds of processor time or 1.5 GB,
more than a minute by the clock, a file that was there and is changed, a stage left behind, control
or bidirectional characters on the screen, JSON that is none. `--seed N --cases 1` repeats a case,
`--kind K` takes only one kind, `--keep DIR` saves the folder of each finding. Ends with 1 when
there are findings.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import importlib
import json
import os
import pkgutil
import re
import resource
import shutil
import signal
import stat
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import fuzz_inputs
from fuzz_inputs import Case

import sectionprep

SECONDS, MEMORY, PATIENCE = 10.0, 1_500_000_000, 90.0
#: no case may eat the machine, whatever it does
_CEILING = 6 * 2**30
CODES = {0, 2, 3, 4, 5, 6, 7, 8, 9, 130}
_UNSAFE = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def load_everything() -> None:
    """All of our modules, and the libraries that they load only where they are used."""
    for module in pkgutil.walk_packages(sectionprep.__path__, "sectionprep."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    for name in ("verovio", "openpyxl", "reportlab.pdfgen.canvas", "numpy", "pikepdf", "rich"):
        importlib.import_module(name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How a command ended. code: negative for a signal; seconds: of the processor; memory: bytes;
    hung: it was killed for taking too long by the clock."""

    code: int
    seconds: float
    memory: int
    hung: bool
    out: str
    err: str


def run(case: Case, folder: Path) -> Ended:
    """One command in a process of its own, its output in files beside the folder."""
    out, err = folder.with_suffix(".out"), folder.with_suffix(".err")
    pid = os.fork()
    if pid == 0:
        _become(case, folder, out, err)
    hung, until = False, time.monotonic() + PATIENCE
    while True:
        done, status, used = os.wait4(pid, os.WNOHANG)
        if done:
            break
        if time.monotonic() > until and not hung:
            hung = True
            os.killpg(pid, signal.SIGKILL)
        time.sleep(0.002)
    return Ended(
        code=os.waitstatus_to_exitcode(status),
        seconds=used.ru_utime + used.ru_stime,
        memory=used.ru_maxrss * 1024,
        hung=hung,
        out=out.read_text(encoding="utf-8", errors="replace"),
        err=err.read_text(encoding="utf-8", errors="replace"),
    )


def _become(case: Case, folder: Path, out: Path, err: Path) -> None:
    """The forked process turns into the command; never returns."""
    code = 1
    try:
        os.setsid()
        os.chdir(folder)
        for number, path in ((0, Path(os.devnull)), (1, out), (2, err)):
            flags = os.O_RDONLY if number == 0 else os.O_WRONLY | os.O_CREAT | os.O_TRUNC
            os.dup2(os.open(path, flags, 0o600), number)
        resource.setrlimit(resource.RLIMIT_AS, (_CEILING, resource.RLIM_INFINITY))
        os.environ["SECTIONPREP_TRACE"] = "1"
        sys.argv = ["sectionprep", *case.arguments]
        from sectionprep.cli import main

        try:
            main()
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 1
        except BaseException:
            import traceback

            traceback.print_exc()
        sys.stdout.flush()
        sys.stderr.flush()
    finally:
        os._exit(code)


def _state(folder: Path) -> dict[str, str]:
    """Every ordinary file and its checksum."""
    found = {}
    for path in folder.rglob("*"):
        if stat.S_ISREG(path.lstat().st_mode):
            try:
                found[os.fsdecode(bytes(path))] = hashlib.sha256(path.read_bytes()).hexdigest()
            except PermissionError:
                continue
    return found


def judge(case: Case, folder: Path) -> tuple[str, Ended]:
    """Outcome of one case: "worked", "refused (code)" or "FINDING ..."."""
    case.write(folder)
    before = _state(folder)
    ended = run(case, folder)
    after = _state(folder)
    if "--force" in case.arguments:  # what lies where it writes may be replaced
        before = {name: known for name, known in before.items() if "/out/" not in name}
    fault = _fault(ended) or _fault_of_files(before, after) or _fault_of_words(case, ended)
    if fault:
        return f"FINDING {fault}", ended
    return ("worked" if ended.code in (0, 8, 9) else f"refused ({ended.code})"), ended


def _fault(ended: Ended) -> str:
    if ended.hung:
        return "hangs"
    if "Traceback (most recent" in ended.err + ended.out:
        return "traceback: " + ended.err.strip().splitlines()[-1][:90]
    if ended.code not in CODES:
        return f"exit code {ended.code}: {ended.err.strip()[-200:]}"
    if ended.seconds > SECONDS:
        return f"takes {ended.seconds:.0f} s"
    if ended.memory > MEMORY:
        return f"takes {ended.memory / 1e9:.1f} GB"
    return ""


def _fault_of_files(before: dict[str, str], after: dict[str, str]) -> str:
    if changed := [name for name, known in before.items() if after.get(name) != known]:
        return f"changes {changed[0]!r}"
    left = [name for name in after if ".sectionprep-making-" in name or name.endswith(".part")]
    return f"leaves {left[0]!r}" if left else ""


def _fault_of_words(case: Case, ended: Ended) -> str:
    if found := _UNSAFE.search(ended.out + ended.err):
        return f"prints the character U+{ord(found[0]):04X}"
    if ended.code and not ended.err.strip() and ended.code not in (8, 9):
        return f"ends with {ended.code} and says nothing"
    reports = case.arguments[0] in ("check", "passages", "plan")
    if reports and "--json" in case.arguments[2:] and ended.code in (0, 8):
        try:
            json.loads(ended.out)
        except ValueError as error:
            return f"no JSON: {error}"
    return ""


def main() -> int:
    """Run the cases and say what came of them."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--cases", type=int, default=400)
    parser.add_argument("--seed", type=int, default=0, help="number of the first case")
    parser.add_argument("--kind", choices=fuzz_inputs.KINDS)
    parser.add_argument("--keep", type=Path, help="folder for the folders of findings")
    parser.add_argument("--minutes", type=float, default=1e9, help="end after so many")
    given = parser.parse_args()
    load_everything()
    counts: Counter[str] = Counter()
    kinds: Counter[tuple[str, str]] = Counter()
    began, spent = time.monotonic(), 0.0
    for number in range(given.seed, given.seed + given.cases):
        if time.monotonic() - began > given.minutes * 60:
            break
        case = fuzz_inputs.make_case(number, given.kind)
        with tempfile.TemporaryDirectory(prefix="fuzz") as above:
            folder = Path(above) / "case"
            outcome, ended = judge(case, folder)
            spent += ended.seconds
            counts[outcome] += 1
            kinds[case.kind, outcome.split(" ")[0]] += 1
            if outcome.startswith("FINDING"):
                shown = " ".join(a.encode("unicode_escape").decode() for a in case.arguments)
                print(f"seed {number}, {case.kind}: {shown}\n  {outcome}", flush=True)
                print("  " + ended.err[-1500:].replace("\n", "\n  "))
                if given.keep:
                    with contextlib.suppress(shutil.Error):  # pipes and sockets are not copied
                        shutil.copytree(folder, given.keep / f"case_{number}", symlinks=True)
    done = sum(counts.values())
    print(*(f"{count:6}  {outcome}" for outcome, count in counts.most_common()), sep="\n")
    for kind in fuzz_inputs.KINDS:
        told = {outcome: n for (of, outcome), n in sorted(kinds.items()) if of == kind}
        print(f"{kind:9} {', '.join(f'{n} {outcome}' for outcome, n in told.items())}")
    print(f"{done} cases; {spent:.0f} s of processor time, {time.monotonic() - began:.0f} s in all")
    return int(any(outcome.startswith("FINDING") for outcome in counts))


if __name__ == "__main__":
    sys.exit(main())
