"""How fast a season's severity fit is: ``python tests/bench/bench_severity.py [--quick] [--limit SECONDS]``.

An invented season of 100 contests × 60 teams × 4 categories × 6 judges: 144,000 cards, 24,000 entries, 6,000 teams in
contests, 1,000 tables, 800 judges, 600 teams, 400 fixed cells; five variances. Against R's lme4 on the same numbers:
at least 10 times as fast on the season and 3.5 times on InstEval, peak memory below lme4's. One thread each.

Times are processor seconds of the fit alone, effects and standard errors included here, reading the file left out on
both sides; lme4 is spared its own check of convergence (calc.derivs = FALSE) and the standard errors of its effects.
lme4 stops earlier, so its criterion may lie a trifle higher, never lower. The season is fitted twice: with one mean,
the formula that is cheapest for lme4, and with the mean of every contest and category, as the site fits it. lme4 holds
those 400 means as a dense matrix (2.4 GB), so that one value of its criterion takes some five seconds and it needs over
a hundred: it is stopped after --limit processor seconds (300), and what it had not reached by then is a lower bound.
How fast lme4 is depends on R's BLAS, which is printed; an optimised one (Debian: libopenblas0-serial) makes it three
to five times as fast as the reference one.

Then the growth: seasons of 2 and 4 times the contests, with the same people and with as many more. Where Rscript or
lme4 is absent (Debian: r-cran-lme4) the comparison is skipped with a message; --quick leaves out lme4's season with all
means. Exit status 1 where a limit is missed.
"""

import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

SEASON, INSTEVAL = 10.0, 3.5  # times as fast as lme4, at least
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
RANDOM = ("team", "judge", "in_contest", "table", "entry")
# response, random, fixed
PLAIN = ("score", ",".join(RANDOM), "")
THE_SEASONS = ("score", ",".join(RANDOM), "cell")


def season(path, contests=100, teams=600, judges=800, entered=60, tables=10, seats=6):
    """Write a season as CSV: score, the factors and the fixed cell as whole numbers."""
    import numpy as np

    rng = np.random.default_rng(1)
    team, judge = rng.normal(0, 1.0, teams), rng.normal(0, 0.9, judges)
    with open(path, "w", encoding="ascii") as file:
        file.write(f"score,{','.join(RANDOM)},cell\n")
        for contest in range(contests):
            who = rng.choice(teams, entered, replace=False)
            panel = rng.choice(judges, (tables, seats), replace=False)
            in_contest, table = rng.normal(0, 0.6, entered), rng.normal(0, 0.4, tables)
            for category in range(4):
                cell = contest * 4 + category
                seat = np.empty(entered, int)
                seat[rng.permutation(entered)] = np.arange(entered) % tables
                box = 30 + rng.normal() + team[who] + in_contest + rng.normal(0, 0.8, entered) + table[seat]
                marks = box[:, None] + judge[panel[seat]] + rng.normal(0, 1.5, (entered, seats))
                for i in range(entered):
                    level = f"{contest * entered + i},{contest * tables + seat[i]},{cell * entered + i},{cell}"
                    for j, mark in zip(panel[seat[i]], marks[i], strict=True):
                        file.write(f"{mark:.6f},{who[i]},{j},{level}\n")


OWN = """
import json, sys, time
import numpy as np
path, response, random, fixed = sys.argv[1:5]
from reports.rules.severity.model import fit
columns = open(path).readline().strip().split(",")
data = np.loadtxt(path, delimiter=",", skiprows=1, unpack=True)
data = dict(zip(columns, data))
score = data[response]
factors = {name: data[name].astype(np.int32) for name in random.split(",")}
cells = data[fixed].astype(np.int32) if fixed else None
del data
wall, start = time.perf_counter(), time.process_time()
found = fit(score, factors, fixed=cells)
found.effects, found.fixed
seconds, wall = time.process_time() - start, time.perf_counter() - wall
print(json.dumps({"seconds": seconds, "wall": wall, "criterion": found.reml_criterion,
                  "variances": [*found.variances.values(), found.residual]}))
"""

LME4 = """
suppressMessages(library(lme4))
a <- commandArgs(TRUE); random <- strsplit(a[3], ",")[[1]]; cells <- length(a) > 3 && nchar(a[4]) > 0
d <- read.csv(a[1])[c(a[2], random, if (cells) a[4])]
for (name in names(d)[-1]) d[[name]] <- factor(d[[name]])
terms <- c(if (cells) c("0", a[4]) else "1", sprintf("(1|%s)", random))
f <- as.formula(paste(a[2], "~", paste(terms, collapse = " + ")))
t <- system.time(m <- lmer(f, d, control = lmerControl(calc.derivs = FALSE)))
v <- as.data.frame(VarCorr(m))
v <- setNames(v$vcov, v$grp)[c(random, "Residual")]
cat(sprintf('{"seconds": %.6f, "wall": %.6f, "criterion": %.8f, "variances": [%s]}\\n',
  t[["user.self"]] + t[["sys.self"]], t[["elapsed"]], REMLcrit(m), paste(sprintf("%.10g", v), collapse = ", ")))
"""


def measured(command, limit=None):
    """The JSON that the command prints, with the peak of its memory in MB as "memory"; without "seconds" where it was
    stopped after `limit` processor seconds."""

    def limited():
        if limit:
            resource.setrlimit(resource.RLIMIT_CPU, (limit, limit + 5))

    with tempfile.TemporaryFile() as out:
        process = subprocess.Popen(command, stdout=out, cwd=ROOT, env=os.environ | ONE_THREAD, preexec_fn=limited)
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        memory = {"memory": usage.ru_maxrss / 1024}
        if limit and process.returncode == -signal.SIGXCPU:
            return memory
        if process.returncode:
            raise SystemExit(f"{command[0]} ended with {process.returncode}")
        out.seek(0)
        return json.loads(out.read().splitlines()[-1]) | memory


def own(path, model=THE_SEASONS):
    return measured([sys.executable, "-c", OWN, str(path), *model])


def told(name, found):
    variances = ", ".join(f"{variance:.5f}" for variance in found["variances"])
    print(
        f"  {name}: {found['seconds']:.2f} s of processor, {found['wall']:.2f} s by the clock, {found['memory']:.0f} MB"
        f" at most; criterion {found['criterion']:.4f}; variances {variances}",
        flush=True,
    )


def against_lme4(title, path, least, model, limit=None):
    """Whether the limits hold."""
    print(title, flush=True)
    ours = own(path, model)
    told("here", ours)
    script = path.with_name("fit.R")
    script.write_text(LME4, encoding="ascii")
    theirs = measured(["Rscript", str(script), str(path), *model], limit)
    if "seconds" not in theirs:
        times = limit / ours["seconds"]
        print(
            f"  lme4 had not finished after {limit} s of processor, with {theirs['memory']:.0f} MB by then: "
            f"here at least {times:.0f} times as fast (at least {least:g})",
            flush=True,
        )
        return times >= least and ours["memory"] < theirs["memory"]
    told("lme4", theirs)
    times = theirs["seconds"] / ours["seconds"]
    apart = max(abs(a / b - 1) for a, b in zip(ours["variances"], theirs["variances"], strict=True))
    above = theirs["criterion"] - ours["criterion"]
    print(
        f"  {times:.1f} times as fast (at least {least:g}); variances apart by {apart:.1e}; lme4 higher by {above:.1e}",
        flush=True,
    )
    return times >= least and ours["memory"] < theirs["memory"] and apart < 5e-3 and -1e-4 < above < 0.05


def has_lme4():
    found = (
        shutil.which("Rscript")
        and not subprocess.run(["Rscript", "-e", "library(lme4)"], capture_output=True).returncode
    )
    if not found:
        print("R with lme4 is not installed (Debian: r-cran-lme4): comparison skipped")
        return False
    about = 'cat("R with lme4", format(packageVersion("lme4")), "and the BLAS", extSoftVersion()[["BLAS"]], "\\n")'
    subprocess.run(["Rscript", "-e", about], check=True)
    return True


def limit_of(arguments):
    """The processor seconds that lme4 may take for the season with all means."""
    return int(arguments[arguments.index("--limit") + 1]) if "--limit" in arguments else 300


def main():
    holds = True
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        season(folder / "season.csv")
        if has_lme4():
            subprocess.run(
                [
                    "Rscript",
                    "-e",
                    f'library(lme4); write.csv(InstEval, "{folder}/insteval.csv", row.names = FALSE, quote = FALSE)',
                ],
                check=True,
                capture_output=True,
            )
            holds &= against_lme4("InstEval, 73,421 ratings", folder / "insteval.csv", INSTEVAL, ("y", "s,d", ""))
            holds &= against_lme4("A season, 144,000 cards, one mean", folder / "season.csv", SEASON, PLAIN)
            if "--quick" not in sys.argv:
                title = "A season, 144,000 cards, the mean of every contest and category"
                limit = limit_of(sys.argv)
                holds &= against_lme4(title, folder / "season.csv", SEASON, THE_SEASONS, limit)
        print("Growth, the same 600 teams and 800 judges:")
        told("100 contests", own(folder / "season.csv"))
        for times in (2, 4):
            season(folder / "more.csv", contests=100 * times)
            told(f"{100 * times} contests", own(folder / "more.csv"))
        print("Growth, as many more teams and judges:")
        for times in (2, 4):
            season(folder / "more.csv", contests=100 * times, teams=600 * times, judges=800 * times)
            told(f"{100 * times} contests, {600 * times} teams, {800 * times} judges", own(folder / "more.csv"))
    return int(not holds)


if __name__ == "__main__":
    sys.exit(main())
