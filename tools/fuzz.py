"""Feeds broken and strange input to the command line and reports what fails.

    python tools/fuzz.py --minutes 60            an hour over all kinds; begins where the last run stopped
    python tools/fuzz.py --kinds plan --cases 20000
    python tools/fuzz.py --again plan-1234       one case once more, with what it says

Every call has to end in time and in one of the ways that the command line knows: done, a review with a
`stop`, or one line that says what is wrong, with nothing written. No warning of numpy's, no NaN or infinity
in what comes out, no control character. What falls is cut down to its smallest form and kept in the folder,
with the files and the words that make it fall again.
"""

from __future__ import annotations

import argparse
import base64
import contextlib
import csv
import io
import json
import os
import queue
import random
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

if __package__ in (None, ""):  # started as a file
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
    __package__ = Path(__file__).resolve().parent.name

from attrs import evolve, frozen

from planner_core.plan.text import is_control
from planner_core.plan.writing import write_atomically

from . import fuzz_cases, fuzz_kinds, fuzz_scenes, terminal
from .advice_cases import bad_advice
from .duskrail import DEBUG_VARIABLE
from .fuzz_cases import Case

USUAL_KINDS = "plan,verb,search,bytes,map,profile,words,evening,late,log,new,photo,terrain"
FEW_TRIALS = 1  # of remedies, for a plan of a kind that isn't FOLLOWED
FEW_SHOTS = 6  # that a search reviews, but for the kind "search"
LIMIT_S = 30.0  # of the processor's time for one call; the slowest sound one takes a tenth of that
SCENE_S = 300.0  # by the clock, for reading a scene on a busy machine
RAN = "ran.txt"  # what a scene leaves that gets to run something
STUCK_S = 600.0  # by the clock, for one that waits for something
SMALLER_S = 20.0  # for cutting down what fell
MEMORY_BYTES = 4 * 1024**3
TEXT_ENDINGS = {".csv", ".ics", ".html", ".json"}
ROOT = Path(__file__).resolve().parent.parent


@frozen(kw_only=True)
class Ended:
    """How a call ended: its exit code, what it said, and the files that it left."""

    code: int
    out: str = ""
    err: str = ""
    files: dict[str, bytes]


# ---------------------------------------------------------------- judging


def flaw(case: Case, ended: Ended) -> str:
    """What is wrong with how a call ended, in words that are the same for the same fault; or nothing."""
    for judge in (_flaw_of_the_ending, _flaw_of_the_files, _flaw_of_the_text):
        if fault := judge(case, ended):
            return fault
    return ""


def _flaw_of_the_ending(case: Case, ended: Ended) -> str:
    if "Traceback" in ended.err or ended.code not in (0, 1, 2):
        return f"crash: {_last_place(ended.err)}" if ended.err else f"ends with {ended.code}, saying nothing"
    lines = [line for line in ended.err.splitlines() if line.strip()]
    if ended.code == 2 and len(lines) != 1:
        return f"exit 2 with {len(lines)} lines"
    if ended.code == 2 and len(lines[0]) > 2000:
        return "exit 2 with a line of thousands of characters"
    if ended.code != 2 and lines:
        return f"exit {ended.code}, but: {lines[0][:80]}"
    if ended.code == 2 and re.match(r"(slide_m|pan_deg|tilt_deg): ", lines[0]):
        return "exit 2 for a value that isn't in the plan"
    if ended.code == 1 and case.words[:1] != ("check",):
        return "exit 1 of a verb that reviews nothing"
    return ""


def _last_place(said: str) -> str:
    """The error's name, and the last line of ours in a traceback."""
    places = re.findall(r'File "[^"]*?((?:planner_core|tools|blender_addon)/[^"]+)", line (\d+)', said)
    last = said.strip().splitlines()[-1].split(":")[0]
    names = re.findall(r"^([A-Za-z_.]+(?:Error|Warning|Exception|Interrupt|Exit))\b", said, re.MULTILINE)
    return f"{names[-1] if names else last} at {':'.join(places[-1]) if places else 'an unknown place'}"


def _flaw_of_the_files(case: Case, ended: Ended) -> str:
    new = {name for name in ended.files if name not in case.files}
    if ended.code == 2 and new:
        return f"exit 2, and {len(new)} files left behind"
    if any(name.startswith(".") for name in new):
        return "a temporary file left behind"
    if any(
        ended.files.get(name) != content for name, content in case.files.items() if name not in case.words
    ):
        return "a file changed that isn't named"
    if "-o" not in case.words and "--output" not in case.words:
        return ""
    return next((f"{name}: {why}" for name in sorted(new) if (why := _bad_name(name))), "")


def _bad_name(name: str) -> str:
    return "control character in a file's name" if any(map(is_control, name)) else ""


def _flaw_of_the_text(case: Case, ended: Ended) -> str:
    texts = {"standard output": ended.out, "standard error": ended.err}
    for name, content in ended.files.items():
        if name not in case.files and Path(name).suffix in TEXT_ENDINGS:
            try:
                texts[Path(name).suffix] = content.decode("utf-8").replace("\r\n", "\n")
            except UnicodeDecodeError:
                return f"{Path(name).suffix} is not UTF-8"
    for name, text in texts.items():
        if any(is_control(c) and c not in "\n\t" for c in set(text)):
            return f"a control character in {name}"
    if ended.code in (0, 1):
        return _flaw_of_the_numbers(case, texts)
    return ""


def _flaw_of_the_numbers(case: Case, texts: dict[str, str]) -> str:
    if "--json" in case.words and "--help" not in case.words and case.words[:1] in (("check",), ("compare",)):
        try:
            json.loads(texts["standard output"], parse_constant=_refuse)
        except ValueError:
            return "output that is not JSON"
    for name, text in texts.items():
        if name == ".json" or "--json" in case.words:
            continue
        if re.search(r"(?<![\w.])[-+]?(?:nan|inf|NaN|Infinity)(?![\w.])", text):
            return f"nan or inf in {name}"
        if name == ".csv" and _formula(text):
            return "a cell that a table program would run"
    return ""


def _refuse(name: str) -> Any:
    raise ValueError(name)


def _formula(text: str) -> bool:
    for row in csv.reader(io.StringIO(text)):
        for cell in row:
            if cell[:1] in tuple("=+-@\t\r") and not re.fullmatch(r"[-+]?[\d.]+(?:e[-+]?\d+)?", cell):
                return True
    return False


# ---------------------------------------------------------------- calling


def call(case: Case, folder: Path) -> Ended:
    """Run the case's words in a folder with its files, in this process, warnings of numbers being errors."""
    from .duskrail import DEBUG_VARIABLE, main

    os.environ[DEBUG_VARIABLE] = "1"  # a crash says where it is
    for name, content in case.files.items():
        (folder / name).write_bytes(content)
    before = Path.cwd()
    out, err = io.StringIO(), io.StringIO()
    os.chdir(folder)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            for kind in (RuntimeWarning, UserWarning, ResourceWarning):
                warnings.simplefilter("error", kind)
            code = _called(main, case.words, err)
    finally:
        os.chdir(before)
    return Ended(code=code, out=out.getvalue(), err=err.getvalue(), files=_files_in(folder))


def _called(main: Callable[[Sequence[str]], int], words: Sequence[str], err: io.StringIO) -> int:
    import traceback

    try:
        return main(words)
    except SystemExit as left:  # --help
        return int(left.code or 0) if isinstance(left.code, (int, type(None))) else 2
    except BaseException:
        traceback.print_exc(file=err)
        return 3


def _files_in(folder: Path) -> dict[str, bytes]:
    files = (path for path in folder.rglob("*") if path.is_file() and not path.is_symlink())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


def _call_blender(case: Case, scene: bytes) -> str:
    """What is wrong with reading a damaged scene, by a process of its own: Blender itself may fall over."""
    with tempfile.TemporaryDirectory(prefix="duskrail-fuzz-") as name:
        folder = Path(name)
        (folder / "scene.blend").write_bytes(_damaged(case, scene))
        words = [sys.executable, str(ROOT / "tools" / "duskrail.py"), *case.words]
        try:
            done = subprocess.run(
                words,
                cwd=folder,
                capture_output=True,
                text=True,
                errors="replace",
                timeout=SCENE_S,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return f"takes more than {SCENE_S:.0f} s"
        files = {k: v for k, v in _files_in(folder).items() if k != "scene.blend"}
    if RAN in files:
        return "runs what the scene has in it"
    return flaw(
        evolve(case, files={}), Ended(code=done.returncode, out=done.stdout, err=done.stderr, files=files)
    )


def _damaged(case: Case, scene: bytes) -> bytes:
    """The scene as the case's recipe breaks it."""
    recipe = json.loads(case.files["scene.blend.recipe"])
    rng = random.Random(recipe["seed"])
    if recipe["how"] == "bytes":
        return fuzz_cases.mutated_bytes(rng, scene)
    return fuzz_scenes.mutated_scene(rng, scene)


class Worker:
    """A process that runs cases one after another, ended and begun anew where one takes too long."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None
        self._said: queue.Queue[str] = queue.Queue()

    def flaw(self, case: Case, limit_s: float = LIMIT_S) -> str:
        process = self._running()
        assert process.stdin is not None
        try:
            process.stdin.write(json.dumps(_packed(case)) + "\n")
            process.stdin.flush()
            said = self._answer(process.pid, limit_s)
        except queue.Empty:
            self.end()
            return f"takes more than {limit_s:.0f} s"
        except BrokenPipeError:
            said = ""
        if not said:
            self.end()
            return "the process died"
        return str(json.loads(said))

    def _answer(self, pid: int, limit_s: float) -> str:
        """What the process says. Raises queue.Empty where it takes too long, however busy the machine is."""
        began_s, spent_s = time.monotonic(), _processor_s(pid)
        while True:
            try:
                return self._said.get(timeout=limit_s)
            except queue.Empty:
                now_s = _processor_s(pid)
                stuck = time.monotonic() - began_s > STUCK_S
                if stuck or now_s is None or spent_s is None or now_s - spent_s > limit_s:
                    raise

    def _running(self) -> subprocess.Popen[str]:
        if self._process is None or self._process.poll() is not None:
            words = [sys.executable, str(Path(__file__).resolve()), "--worker"]
            self._process = subprocess.Popen(
                words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
            )
            self._said = queue.Queue()
            threading.Thread(target=_pass_on, args=(self._process, self._said), daemon=True).start()
        return self._process

    def end(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None


def _processor_s(pid: int) -> float | None:
    """The processor's time that a process has had; None where the system doesn't say."""
    try:
        numbers = Path(f"/proc/{pid}/stat").read_text("ascii", "replace").rpartition(")")[2].split()
    except OSError:
        return None
    return (int(numbers[11]) + int(numbers[12])) / os.sysconf("SC_CLK_TCK")


def _pass_on(process: subprocess.Popen[str], said: queue.Queue[str]) -> None:
    assert process.stdout is not None
    for line in process.stdout:
        said.put(line)
    said.put("")


def _packed(case: Case) -> dict[str, Any]:
    files = {name: base64.b64encode(content).decode("ascii") for name, content in case.files.items()}
    return {"kind": case.kind, "number": case.number, "files": files, "words": list(case.words)}


def _unpacked(packed: dict[str, Any]) -> Case:
    files = {name: base64.b64decode(content) for name, content in packed["files"].items()}
    words = tuple(packed["words"])
    return Case(kind=packed["kind"], number=packed["number"], files=files, words=words)


def _work() -> None:
    """Judge the cases that come in on standard input, an answer a line."""
    os.environ[DEBUG_VARIABLE] = "1"  # a defect says where it is
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    answers = os.fdopen(os.dup(1), "w")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    for line in sys.stdin:
        print(json.dumps(judged(_unpacked(json.loads(line)))), file=answers, flush=True)


@contextlib.contextmanager
def _meanwhile(*, few_trials: bool, few_shots: bool) -> Iterator[None]:
    """A review tries few remedies, so a plan takes a moment (FOLLOWED kinds try them all), and a search few
    shots; and no lines of progress, which a busy machine has and an idle one hasn't.
    """
    from planner_core.review import trial
    from planner_core.scout import search

    before = trial.MOST_REVIEWS, trial.FEWEST_REVIEWS
    trial.MOST_REVIEWS, trial.FEWEST_REVIEWS = (FEW_TRIALS, FEW_TRIALS) if few_trials else before
    line: Any = terminal.StatusLine
    show, line.show = line.show, _unseen
    scout: Any = search
    wishes = scout.Wishes
    if few_shots:
        scout.Wishes = lambda **wished: wishes(**{**wished, "reviews": min(wished["reviews"], FEW_SHOTS)})
    try:
        yield
    finally:
        trial.MOST_REVIEWS, trial.FEWEST_REVIEWS = before
        line.show, scout.Wishes = show, wishes


def _unseen(_line: terminal.StatusLine, _text: str, **_more: object) -> None:
    pass


def judged(case: Case) -> str:
    """What falls with a case, run in this process in a folder of its own."""
    with (
        tempfile.TemporaryDirectory(prefix="duskrail-fuzz-") as name,
        _meanwhile(few_trials=case.kind not in fuzz_cases.FOLLOWED, few_shots=case.kind != "search"),
    ):
        fault = flaw(case, call(case, Path(name)))
    if fault or case.kind not in fuzz_cases.FOLLOWED:
        return fault
    return next(bad_advice(json.loads(case.files[fuzz_cases.PLAN])), "")


# ---------------------------------------------------------------- cutting down


def smaller(case: Case, wanted: str, fails: Callable[[Case], str], seconds: float = SMALLER_S) -> Case:
    """The case with as much taken away as can go while it falls in the same way."""
    until = time.monotonic() + seconds
    shrunk = True
    while shrunk:
        shrunk = False
        for candidate in _smaller_ones(case):
            if time.monotonic() > until:
                return case
            if fails(candidate) == wanted:
                case, shrunk = candidate, True
                break
    return case


def _smaller_ones(case: Case) -> Iterator[Case]:
    for name, content in case.files.items():
        try:
            document = json.loads(content)
        except (ValueError, RecursionError):
            cuts: Iterator[bytes] = _cut_bytes(content)
        else:
            cuts = (fuzz_cases.plan_text(cut) for cut in _cut_documents(document))
        for cut in cuts:
            yield evolve(case, files={**case.files, name: cut})


def _cut_documents(document: Any) -> Iterator[Any]:
    for path in sorted(fuzz_cases.places(document), key=len):
        copied = json.loads(json.dumps(document))
        parent = fuzz_cases.at(copied, path[:-1])
        if isinstance(parent, (dict, list)):
            del parent[path[-1]]
            yield copied


def _cut_bytes(content: bytes) -> Iterator[bytes]:
    length = len(content) // 2
    while length:
        for start in range(0, len(content), length):
            yield content[:start] + content[start + length :]
        length //= 4


# ---------------------------------------------------------------- a run


class Run:
    """A run over some kinds, kept in a folder so that the next one goes on where this one stopped."""

    def __init__(self, folder: Path, seed: int, kinds: Sequence[str]) -> None:
        self.folder, self.seed, self.kinds = folder, seed, list(kinds)
        folder.mkdir(parents=True, exist_ok=True)
        self.state_file = folder / f"state-{seed}.json"
        self.state: dict[str, Any] = {"next": {}, "fell": {}}
        if self.state_file.is_file():
            self.state = json.loads(self.state_file.read_text("utf-8"))
        self.worker, self.ran = Worker(), Counter[str]()

    def go(self, minutes: float, cases: int | None) -> int:
        """Take the kinds in turn until time or cases are up; how many cases fell in a way not seen before."""
        until, new = time.monotonic() + 60.0 * minutes, 0
        scene = _scene(self.folder) if "blend" in self.kinds else b""
        try:
            while time.monotonic() < until and (cases is None or min(self._counts()) < cases):
                for kind in self.kinds:
                    new += self._one(kind, scene)
                if sum(self.ran.values()) % 50 < len(self.kinds):
                    self._save()
        finally:
            self.worker.end()
            self._save()
        return new

    def _counts(self) -> list[int]:
        return [self.ran[kind] for kind in self.kinds]

    def _one(self, kind: str, scene: bytes) -> bool:
        number = self.state["next"].get(kind, 0)
        case = fuzz_kinds.make(kind, self.seed, number)
        self.state["next"][kind] = number + 1
        self.ran[kind] += 1
        fault = _call_blender(case, scene) if kind == "blend" else self.worker.flaw(case)
        if not fault:
            return False
        seen = self.state["fell"].setdefault(fault, [])
        seen.append(case.name)
        if len(seen) > 1:
            return False
        self._keep(case, fault)
        return True

    def _keep(self, case: Case, fault: str) -> None:
        print(f"{case.name}: {fault}", flush=True)
        if case.kind != "blend" and "takes more" not in fault:
            case = smaller(case, fault, self.worker.flaw)
        kept = self.folder / case.name
        shutil.rmtree(kept, ignore_errors=True)
        kept.mkdir()
        for name, content in case.files.items():
            (kept / name).write_bytes(content)
        (kept / "words.json").write_text(json.dumps(case.words), "utf-8")
        (kept / "what-fell.txt").write_text(fault + "\n", "utf-8")

    def _save(self) -> None:
        write_atomically(self.state_file, json.dumps(self.state, indent=1).encode("utf-8"))

    def summary(self) -> str:
        """How many cases ran, and what fell how often."""
        counts = ", ".join(f"{count} {kind}" for kind, count in self.ran.items())
        lines = [f"{sum(self.ran.values())} cases ran ({counts})."]
        for fault, names in sorted(self.state["fell"].items(), key=lambda item: -len(item[1])):
            lines.append(f"{len(names):>6} × {fault}   (first: {names[0]})")
        return "\n".join(lines)


TRAPPED = f"""
import os, bpy
path = os.path.abspath("scene.blend")
bpy.ops.wm.open_mainfile(filepath=path, load_ui=False, use_scripts=False)
scene = bpy.data.scenes[0]
script = bpy.data.texts.new("start.py")
script.write("open({RAN!r}, 'w').close()")
script.use_module = True
lamp = bpy.data.objects.new("Lamp", None)
scene.collection.objects.link(lamp)
driver = lamp.driver_add("location", 0).driver
driver.type, driver.expression = "SCRIPTED", "len(open({RAN!r}, 'w').name)"
bpy.ops.wm.save_as_mainfile(filepath=path, compress=False)
os._exit(0)
"""


def _scene(folder: Path) -> bytes:
    """A scene to damage, made once by the preview; it holds a script and a driver that leave a file."""
    path = folder / "scene.blend"
    if not path.is_file():
        document = fuzz_cases.small_plan(random.Random(1))
        document["shoot"]["frames"] = 3
        (folder / "scene.plan.json").write_bytes(fuzz_cases.plan_text(document))
        words = ["preview", "scene.plan.json", "--blend", path.name]
        for command in ([str(ROOT / "tools" / "duskrail.py"), *words], ["-c", TRAPPED]):
            subprocess.run([sys.executable, *command], cwd=folder, check=True, timeout=600)
        (folder / RAN).unlink(missing_ok=True)
    return path.read_bytes()


def _again(name: str, seed: int) -> None:
    kind, _, number = name.rpartition("-")
    case = fuzz_kinds.make(kind, seed, int(number))
    with tempfile.TemporaryDirectory(prefix="duskrail-fuzz-") as folder:
        ended = call(case, Path(folder))
    print(f"{' '.join(case.words)}\nexit {ended.code}: {flaw(case, ended) or 'as it should'}")
    print(ended.out[-2000:], ended.err[-4000:], sep="\n")


def main(words: Sequence[str] | None = None) -> int:
    """Run; 1 where something fell."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--cases", type=int, help="end after so many of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kinds", default=USUAL_KINDS, help=", ".join(fuzz_kinds.KINDS))
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "duskrail-fuzz")
    parser.add_argument("--again", metavar="KIND-NUMBER", help="run one case once more and show it")
    parser.add_argument("--worker", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args(words)
    if arguments.worker:
        _work()
        return 0
    if arguments.again:
        _again(arguments.again, arguments.seed)
        return 0
    kinds = arguments.kinds.split(",")
    if unknown := [kind for kind in kinds if kind not in fuzz_kinds.KINDS]:
        parser.error(f"{unknown[0]} is not a kind; there are {', '.join(fuzz_kinds.KINDS)}")
    run = Run(arguments.folder, arguments.seed, kinds)
    new = run.go(arguments.minutes, arguments.cases)
    print(run.summary())
    return 1 if new else 0


if __name__ == "__main__":
    sys.exit(main())
