"""Mutation testing: small faults are put into the code one at a time, and the tests must notice each.

Run by hand, for some rooms or files of `qc/`, as many faults each as `--draw` says:

    nice -n 10 python tests/benchmarks/mutants.py --draw 150 rules contents.py stats

The checkout is copied; the suite runs once there to learn which test reaches which line; each fault is then put into a
child of that process and met by the tests that reach its line, quickest first, until one fails that passes in a child
without the fault; what runs at the import, by tests in a process of its own. What they let through is met by the
goldens last. The table goes to results/mutants.md, where the sections of other rooms are kept. Faults that change
nothing anyone can see stand with their reason in mutants_equivalent.toml.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import copy
import difflib
import functools
import importlib
import math
import os
import pickle
import random
import re
import resource
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
import types
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
RESULTS = Path(__file__).parent / "results" / "mutants.md"
EQUIVALENT = Path(__file__).parent / "mutants_equivalent.toml"
# Tests that read the source as text, start browsers or whole processes, or repeat what others look at.
APART = ("test_house.py", "test_house_rules.py", "test_browser.py", "test_readme.py", "test_start_up.py", "goldens")
GOLDENS = "tests/goldens"
# What reads the source to see that every message has its words, whatever line is reached.
ALWAYS = ("tests/say/test_messages.py",)
# Tests a fault is met by take so long at most, and end by so much more than they took without a fault [s of processor
# time, which a busy machine does not use up]; one that waits without working ends by the clock, so many times later.
TESTS_SECONDS, PATIENCE, BUSY = 60.0, 3.0, 10.0
# A fault is met by so many tests first, since most are noticed by one of them and the others need not be collected.
QUICKEST = 25
# Where fewer tests are known to reach a line, those that reach its file meet it too.
FEW = 15
# What a child comes to where a test fails, and where the fault cannot be put in place.
FAILED, BROKEN = 1, 9

COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
WORKED_OUT: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Div,
    ast.Mod: ast.Mult, ast.Pow: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
CALLED = {"min": "max", "max": "min", "any": "all", "all": "any", "floor": "ceil", "ceil": "floor"}
# What gives the same whichever of two is named first.
IN_ANY_ORDER = ("maximum", "minimum", "max", "min", "isclose", "allclose", "hypot")
NUMBERS = ("Decimal", "Fraction", "float", "int")


@dataclass(frozen=True)
class Fault:
    """One change of one place of one file."""

    file: str
    line: int
    before: str
    after: str
    source: str
    text: str
    at_import: bool

    @property
    def key(self) -> str:
        return f"{self.file}: {self.text}: {self.before} -> {self.after}"


def other_forms(node: ast.AST) -> Iterator[ast.AST]:
    """A node with one fault in it, once for each fault that can be made there."""

    def changed(**fields: Any) -> ast.AST:
        other = copy.copy(node)
        for name, value in fields.items():
            setattr(other, name, value)
        return other

    match node:
        case ast.Compare(ops=ops):
            for at, sign in enumerate(ops):
                if type(sign) in COMPARED:
                    yield changed(ops=[*ops[:at], COMPARED[type(sign)](), *ops[at + 1 :]])
        case ast.BinOp(op=op) if type(op) in WORKED_OUT:
            yield changed(op=WORKED_OUT[type(op)]())
        case ast.BoolOp(op=op, values=values):
            yield changed(op=ast.Or() if isinstance(op, ast.And) else ast.And())
            if len(values) > 2:
                yield changed(values=values[:-1])
        case ast.UnaryOp(op=ast.Not() | ast.USub(), operand=operand):
            yield operand
        case ast.Constant(value=bool() as value):
            yield ast.Constant(not value)
        case ast.Constant(value=int() | float() as value):
            yield ast.Constant(value + 1)
        case ast.IfExp(body=body, orelse=orelse):
            yield body
            yield orelse
        case ast.Call(func=ast.Name(id=name), args=[ast.Constant(value=str() as text)]) if name in NUMBERS:
            if re.fullmatch(r"[\d.]+", text):
                yield changed(args=[ast.Constant(f"1{text}")])
        case ast.Call(func=ast.Name(id=name)) if name in CALLED:
            yield changed(func=ast.Name(CALLED[name]))
        case ast.Call(func=ast.Name(id="sorted"), args=args):
            yield args[0] if not node.keywords else changed(keywords=[])
        case ast.Call(args=args, keywords=keywords):
            alike = ast.unparse(node.func).rpartition(".")[2] in IN_ANY_ORDER
            same = len({ast.unparse(one) for one in args}) < 2
            if len(args) == 2 and not (alike or same or any(isinstance(one, ast.Starred) for one in args)):
                yield changed(args=args[::-1])
            for at, word in enumerate(keywords):
                if word.arg not in (None, "strict"):
                    yield changed(keywords=[*keywords[:at], *keywords[at + 1 :]])
        case ast.Dict(keys=keys):
            for at, one in enumerate(keys):
                if isinstance(one, ast.Constant) and isinstance(one.value, str):
                    yield changed(keys=[*keys[:at], ast.Constant(f"other {one.value}"), *keys[at + 1 :]])
        case ast.Slice(lower=lower, upper=upper) if lower or upper:
            yield changed(lower=None) if lower else changed(upper=None)
        case ast.comprehension(ifs=[_, *_]):
            yield changed(ifs=[])
        case ast.Return(value=ast.expr() as value) if not isinstance(value, ast.Constant):
            yield changed(value=ast.Constant(None))
        case ast.If() | ast.While():
            yield changed(test=ast.Constant(False))
            if isinstance(node, ast.If):
                yield changed(test=ast.Constant(True))
        case ast.AugAssign() | ast.Expr(value=ast.Call() | ast.Yield() | ast.YieldFrom()) | ast.Raise():
            yield ast.Pass()
        case ast.Continue():
            yield ast.Break()
        case ast.Break():
            yield ast.Continue()


def places(tree: ast.AST) -> Iterator[tuple[ast.AST, str, int | None]]:
    """Every place of a tree that may be changed: its parent, the field, the index; no annotation, text or assertion."""
    for field, value in ast.iter_fields(tree):
        if field in ("annotation", "returns", "type_params") or isinstance(tree, ast.Import | ast.ImportFrom):
            continue
        # That a record is frozen and named by keyword is for the type checker.
        if isinstance(tree, ast.ClassDef) and field == "keywords":
            continue
        # That two sequences are of one length is an assertion.
        if isinstance(tree, ast.keyword) and tree.arg == "strict":
            continue
        for at, one in enumerate(value) if isinstance(value, list) else [(None, value)]:
            if not isinstance(one, ast.AST) or isinstance(one, ast.Assert | ast.JoinedStr):
                continue
            if isinstance(one, ast.If) and "TYPE_CHECKING" in ast.unparse(one.test):
                continue
            yield tree, field, at
            yield from places(one)


def faults_of(path: Path) -> list[list[Callable[[], Fault]]]:
    """The faults that can be put into a file, by place; each is written out when it is asked for."""
    whole = path.read_text(encoding="utf-8")
    tree, lines = ast.parse(whole), whole.splitlines()
    bodies = [node.body for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    inside = {line for body in bodies for line in range(body[0].lineno, (body[-1].end_lineno or 0) + 1)}

    def put(other: ast.AST, parent: ast.AST, field: str, at: int | None) -> Fault:
        value = getattr(parent, field)
        node = value if at is None else value[at]
        line = getattr(node, "lineno", getattr(parent, "lineno", 0))
        setattr(parent, field, other if at is None else [*value[:at], other, *value[at + 1 :]])
        source = ast.unparse(ast.fix_missing_locations(tree))
        setattr(parent, field, value)
        before, after = (" ".join(ast.unparse(one).split()) for one in (node, other))
        return Fault(
            file=str(path.relative_to(ROOT)),
            line=line,
            before=before,
            after=after,
            source=source,
            text=lines[line - 1].strip() if line else "",
            at_import=line not in inside,
        )

    found = []
    for parent, field, at in places(tree):
        value = getattr(parent, field)
        forms = other_forms(value if at is None else value[at])
        found.append([functools.partial(put, other, parent, field, at) for other in forms])
    return [here for here in found if here]


def drawn(room: str, *, count: int, seed: int) -> list[Fault]:
    """Faults of a room, drawn place by place so that no crowded line is drawn too often."""
    at = ROOT / "qc" / room
    every = [place for path in ([at] if at.is_file() else sorted(at.rglob("*.py"))) for place in faults_of(path)]
    rng = random.Random(f"{seed} {room}")
    return sorted(
        (rng.choice(place)() for place in rng.sample(every, min(count, len(every)))),
        key=lambda fault: (fault.file, fault.line),
    )


def learn(items: list[Any], known: dict[str, Any], copy_of: Path) -> None:
    """Note of each test that is not known yet which lines it reaches and how much processor time it takes.

    What an earlier test left in a memory is not reached again: `reaching` adds tests where few are known.
    """
    import coverage
    from _pytest.runner import runtestprotocol

    found = coverage.Coverage(source_pkgs=["qc"], data_file=None, config_file=False, messages=False)
    found.set_option("run:disable_warnings", ["module-not-measured"])
    found.start()
    for item, after in zip(items, [*items[1:], None], strict=True):
        found.switch_context(item.nodeid)
        began, names = sum(os.times()[:4]), dict(item.dtest.globs) if hasattr(item, "dtest") else {}
        failed = any(report.failed for report in runtestprotocol(item, nextitem=after, log=False))
        known["seconds"][item.nodeid] = math.inf if failed else sum(os.times()[:4]) - began
        if names:
            # An example that was run has cleared its names, and is run again in each child.
            item.dtest.globs.update(names)
    found.stop()
    data = found.get_data()
    for file in map(Path, data.measured_files()):
        if file.is_relative_to(copy_of):
            lines = known["lines"].setdefault(str(file.relative_to(copy_of)), {})
            for line, tests in data.contexts_by_lineno(str(file)).items():
                lines[str(line)] = sorted({*lines.get(str(line), ()), *filter(None, tests)})


def carry_over(known: dict[str, Any], copy_of: Path) -> None:
    """Bring what was learned to the files of today: a line that is as it was is reached by the tests that reached it.

    A line that moved is found by its neighbours; one that is new is reached by the tests of its file.
    """
    for file, learned in known["sources"].items():
        today = (copy_of / file).read_text(encoding="utf-8") if (copy_of / file).exists() else ""
        if today != learned:
            alike = difflib.SequenceMatcher(None, learned.splitlines(), today.splitlines(), autojunk=False)
            reached = known["lines"].get(file, {})
            known["lines"][file] = {
                str(now + step): reached[str(then + step)]
                for then, now, count in alike.get_matching_blocks()
                for step in range(1, count + 1)
                if str(then + step) in reached
            }
    known["sources"] = {
        str(path.relative_to(copy_of)): path.read_text(encoding="utf-8") for path in (copy_of / "qc").rglob("*.py")
    }


def reaching(fault: Fault, known: dict[str, Any]) -> list[str]:
    """The tests that reach a fault, quickest first; of what runs at the import, those that reach its file or room."""
    of_file: dict[str, list[str]] = known["lines"].get(fault.file, {})
    first = set(of_file.get(str(fault.line), ()))
    tests = first | ({test for tests in of_file.values() for test in tests} if len(first) < FEW else set())
    if fault.at_import:
        room, first = f"tests/{fault.file.split('/')[1]}/", tests
        tests = tests | {name for name in known["seconds"] if name.startswith(room)}
    chosen, total = [], 0.0
    for test in sorted(
        tests & known["seconds"].keys(), key=lambda test: (test not in first, known["seconds"][test], test)
    ):
        total += known["seconds"][test]
        if total > TESTS_SECONDS:
            break
        chosen.append(test)
    return chosen


def functions_of(names: dict[str, Any], module: str, before: str = "") -> Iterator[tuple[str, types.FunctionType]]:
    """The functions that a module or class defines, also as properties and behind decorators, by name."""
    for name, value in list(names.items()):
        match value:
            case property(fget=inner) | functools.cached_property(func=inner) | staticmethod(__func__=inner):
                one = inner
            case classmethod(__func__=inner):
                one = inner
            case _:
                one = value
        while hasattr(one, "__wrapped__"):
            one = one.__wrapped__
        if isinstance(one, types.FunctionType) and one.__module__ == module:
            yield before + name, one
        elif isinstance(one, type) and one.__module__ == module and not before.startswith(f"{name}."):
            yield from functions_of(dict(vars(one)), module, f"{before}{name}.")


def put(fault: Fault) -> None:
    """Give the functions of a loaded module the code they have with a fault; empty all memories, the tests' own too."""
    name = fault.file.removesuffix(".py").replace("/", ".").removesuffix(".__init__")
    module = importlib.import_module(name)
    names = {"__name__": name, "__file__": module.__file__, "__package__": module.__package__}
    exec(compile(fault.source, str(module.__file__), "exec"), names)
    sound = dict(functions_of(dict(vars(module)), name))
    for where, function in functions_of(names, name):
        sound[where].__code__ = function.__code__
    here = [one for one in sys.modules.values() if str(getattr(one, "__file__", "")).startswith(os.getcwd())]
    for value in [value for one in here for value in vars(one).values()]:
        if isinstance(value, functools._lru_cache_wrapper):
            value.cache_clear()


def in_a_child(do: Callable[[], int], *, seconds: float) -> int | None:
    """What is done in a child of this process comes to, a small number; None: it ends it, or does not end in time."""
    for _ in range(3):
        child = os.fork()
        if child == 0:
            os.setsid()
            resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(seconds), math.ceil(seconds) + 1))
            silent = os.open(os.devnull, os.O_WRONLY)
            os.dup2(silent, 1)
            os.dup2(silent, 2)
            code = BROKEN
            try:
                code = do()
            finally:
                os._exit(code)
        end = time.monotonic() + BUSY * seconds
        while not (done := os.waitpid(child, os.WNOHANG))[0]:
            time.sleep(0.02)
            if time.monotonic() > end:
                os.killpg(child, signal.SIGKILL)
                os.waitpid(child, 0)
                return None
        code = os.waitstatus_to_exitcode(done[1])
        # A child of a process with threads may be ended by a signal for no fault of the code: it is asked again.
        if code >= 0 or code == -signal.SIGXCPU:
            break
    return code if code >= 0 else None


def by_pytest(names: Sequence[str]) -> int:
    """The exit code of these tests in a process that loads everything anew."""
    call = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", "--tb=no", *names]
    return subprocess.run(call, capture_output=True, check=False).returncode


@contextlib.contextmanager
def written(path: Path, source: str) -> Iterator[None]:
    """While this lasts, a file holds another source: for processes that load it."""
    sound = path.read_text(encoding="utf-8")
    path.write_text(source, encoding="utf-8")
    try:
        yield
    finally:
        path.write_text(sound, encoding="utf-8")


class Study:
    """Meets the faults in children of one process that has loaded the tests and the package."""

    def __init__(self, asked: argparse.Namespace, copy_of: Path) -> None:
        self.asked, self.copy_of = asked, copy_of
        self.passes = functools.cache(lambda some: by_pytest(some) == 0)
        self.always: tuple[str, ...] = ()

    def pytest_runtestloop(self, session: Any) -> bool:
        """In place of running the tests."""
        asked, known, sections = self.asked, {"seconds": {}, "lines": {}, "sources": {}}, {}
        if asked.known is not None and asked.known.exists():
            known = pickle.loads(asked.known.read_bytes())
        carry_over(known, self.copy_of)
        if anew := [item for item in session.items if item.nodeid not in known["seconds"]]:
            learn(anew, known, self.copy_of)
        if asked.known is not None:
            asked.known.write_bytes(pickle.dumps(known))
        failed = [name for name, took in known["seconds"].items() if took == math.inf]
        print(f"{len(known['seconds'])} tests, {len(anew)} of them learned anew", flush=True)
        print(f"left out, since they fail without a fault: {failed}", flush=True)
        items = {item.nodeid: item for item in session.items}
        # One that fails today, whatever an earlier run learned of it, would hide what the others notice.
        known_well = [name for name in items if name.startswith(ALWAYS) and known["seconds"][name] < math.inf]
        self.always = tuple(name for name in known_well if self.passes((name,)))
        # What went by another name in an earlier run takes no time from the others.
        known["seconds"] = {name: took for name, took in known["seconds"].items() if name in items}
        for room in asked.rooms:
            met = []
            for fault in drawn(room, count=asked.draw, seed=asked.seed):
                tests = [name for name in reaching(fault, known) if name in items]
                tests += [name for name in self.always if name not in tests]
                fate = self.meet(fault, tests, items, known)
                met.append((fault, fate))
                print(f"{fate:9} {fault.file}:{fault.line} {fault.before[:200]} -> {fault.after[:200]}", flush=True)
            sections[room] = section(room, met, reasons(), seed=asked.seed)
            print(*sections[room], sep="\n", flush=True)
        if not asked.no_table:
            write(sections)
        return True

    def meet(self, fault: Fault, tests: list[str], items: dict[str, Any], known: dict[str, Any]) -> str:
        """What became of a fault: killed, killed by the goldens alone, survived, or reached by no test."""
        from _pytest.runner import runtestprotocol

        note, path = self.copy_of / "failed", self.copy_of / fault.file

        def run(tests: list[str], *faults: Fault) -> int:
            for one in faults:
                put(one)
            for test in tests:
                if any(report.failed for report in runtestprotocol(items[test], nextitem=None, log=False)):
                    note.write_text(test, encoding="utf-8")
                    return FAILED
            return 0

        asked, seconds = tests, 20 + PATIENCE * sum(known["seconds"][test] for test in tests)
        code = BROKEN if fault.at_import else FAILED
        while code == FAILED:
            with written(path, fault.source):
                code = in_a_child(functools.partial(run, asked, fault), seconds=seconds)
            if code == FAILED:
                test = note.read_text(encoding="utf-8")
                if in_a_child(functools.partial(run, [test]), seconds=seconds) == 0:
                    return "killed"
                print(f"fails in a child without a fault too: {test}", flush=True)
                asked = asked[asked.index(test) + 1 :]
        if code is None:
            return "killed"
        for some in ((*tests[:QUICKEST], *self.always), tuple(tests[QUICKEST:])) if code == BROKEN else ():
            with written(path, fault.source):
                code = in_a_child(functools.partial(by_pytest, some), seconds=seconds) if some else 0
            if code != 0 and self.passes(some):
                return "killed"
        with written(path, fault.source):
            if not self.asked.no_goldens and in_a_child(functools.partial(by_pytest, [GOLDENS]), seconds=400) != 0:
                return "goldens"
        return "survived" if any(not name.startswith(ALWAYS) for name in tests) else "unreached"


def reasons() -> dict[str, str]:
    """Faults that change nothing that can be seen, each with why; one whose line is no longer there is a mistake."""
    with EQUIVALENT.open("rb") as file:
        known = {one["fault"]: one["why"] for one in tomllib.load(file).get("equivalent", [])}
    for fault in known:
        name, _, rest = fault.partition(": ")
        lines = (ROOT / name).read_text(encoding="utf-8").splitlines()
        assert any(line.strip() and rest.startswith(f"{line.strip()}: ") for line in lines), f"{fault} is out of date"
    return known


def section(room: str, met: list[tuple[Fault, str]], known_reasons: dict[str, str], *, seed: int) -> tuple[str, str]:
    """The row of a room in the table, and what is listed of it below."""
    same = [(fault, known_reasons[fault.key]) for fault, fate in met if fault.key in known_reasons and fate != "killed"]
    left = [
        (fault, fate) for fault, fate in met if fate in ("survived", "unreached") and fault.key not in known_reasons
    ]
    goldens = sum(fate == "goldens" and fault.key not in known_reasons for fault, fate in met)
    counted = len(met) - len(same)
    share = 100 * (counted - len(left)) / counted if counted else 100.0
    cells = (room, seed, len(met), len(same), counted - len(left), goldens, len(left), f"{share:.1f} %")
    lines = [f"## {room}", ""]
    lines += [
        f"- left: `{fault.file}:{fault.line}` `{fault.before}` -> `{fault.after}` ({fate})" for fault, fate in left
    ]
    lines += [f"- changes nothing: `{fault.file}` `{fault.before}` -> `{fault.after}`: {why}" for fault, why in same]
    return f"| {' | '.join(map(str, cells))} |", "\n".join(lines) + "\n"


HEAD = """# Do the tests notice faults put into the code?

`nice -n 10 python tests/benchmarks/mutants.py --draw 150 ROOM ...` writes the row and the section of each room anew.
One fault at a time, drawn at random by place in the code, met by the tests that reach its line, quickest first, for at
most {seconds:.0f} s of processor time; what they let through is met by the goldens. Killed: a test fails, or does not
end in three times its time. A test counts that passes in a child of the same process without the fault.

| room | seed | faults | change nothing | killed | of these by the goldens alone | left | killed |
|---|---|---|---|---|---|---|---|
"""


def write(made: dict[str, tuple[str, str]]) -> None:
    """The table, with what this run made in place of the older rows and sections."""
    old = RESULTS.read_text(encoding="utf-8") if RESULTS.exists() else ""
    sections = {part.split("\n", 1)[0]: f"## {part}" for part in re.split(r"^## ", old, flags=re.MULTILINE)[1:]}
    rows = {line.split(" | ")[0][2:]: line for line in old.splitlines() if line.startswith("| ")}
    rows.pop("room", None)
    rows |= {room: row for room, (row, _) in made.items()}
    sections |= {room: text for room, (_, text) in made.items()}
    page = HEAD.format(seconds=TESTS_SECONDS) + "\n".join(rows.values()) + "\n\n"
    RESULTS.write_text(page + "\n".join(text.rstrip() + "\n" for text in sections.values()), encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rooms", nargs="+")
    parser.add_argument("--draw", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tests", nargs="*", default=["tests", "qc"], help="where tests are looked for")
    parser.add_argument("--known", type=Path, help="what an earlier run learned of the tests, and where it is kept")
    parser.add_argument("--no-goldens", action="store_true")
    parser.add_argument("--no-table", action="store_true")
    asked = parser.parse_args()
    os.environ["CI"] = "true"
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    sys.dont_write_bytecode = True
    reasons()
    with tempfile.TemporaryDirectory() as folder:
        copy_of = Path(folder).resolve()
        files = subprocess.run(
            ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
            cwd=ROOT, capture_output=True, check=True, text=True,
        ).stdout.split("\0")  # fmt: skip
        for name in filter(None, files):
            (copy_of / name).parent.mkdir(parents=True, exist_ok=True)
            if (ROOT / name).exists():
                (copy_of / name).write_bytes((ROOT / name).read_bytes())
        os.chdir(copy_of)
        sys.path[0] = str(copy_of)
        os.environ["PYTHONPATH"] = str(copy_of)
        import pytest

        apart = [f"--ignore-glob=*/{name}" for name in APART]
        words = ["-q", "-p", "no:cacheprovider", "-p", "no:randomly", "--no-header", "--tb=no"]
        sys.exit(pytest.main([*words, *asked.tests, *apart], plugins=[Study(asked, copy_of)]))


if __name__ == "__main__":
    main()
