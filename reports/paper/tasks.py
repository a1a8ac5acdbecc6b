"""What the background worker does for prints: one child process a print, so that its memory is given back."""

import contextlib
import json
import logging
import os
import queue
import subprocess
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

from django_tasks import task

from contest.present import present
from reports.jobs import start_child
from reports.models import PrintJob
from reports.paper import catalogue, held
from reports.paper.look import Options, style_text

BEAT = 1.0
#: Longer than any print takes; a child that hangs is ended.
LIMIT = 600.0
#: Prints made side by side, where there are as many processors: what waits longest, then the next.
LANES = min(2, os.cpu_count() or 1)


@task()
def make_print(pk: int) -> None:
    """Make the file of a print job, and those of others that wait; does nothing where another worker has it."""
    job = held.take(pk)
    if job is not None:
        run(job)


@task()
def forget_print(pk: int) -> None:
    """Delete a print with its file; due a day after it was asked for."""
    job = PrintJob.objects.filter(pk=pk).first()
    if job is not None:
        held.forget(job)


@dataclass
class Making:
    """A job, and the child that makes its file. What the child reports comes on `heard`, with None at its end."""

    job: PrintJob
    child: "subprocess.Popen[str]"
    target: Path
    total: int
    said: dict = field(default_factory=dict)
    ends: float = field(default_factory=lambda: time.monotonic() + LIMIT)

    def listen(self, work: str, heard: "queue.Queue[tuple[Making, dict | None]]") -> None:
        """Runs in a thread: give the child its work, pass on what it says."""
        with contextlib.suppress(BrokenPipeError):  # it has ended; its code tells why
            pipe = present(self.child.stdin)
            pipe.write(work)
            pipe.flush()
        for line in self.child.stdout or ():
            heard.put((self, json.loads(line)))
        heard.put((self, None))

    def beat(self) -> None:
        """Keep the job's heart beating, and its progress; end a child that hangs, or whose job was taken away."""
        if time.monotonic() > self.ends:
            self.said["failed"] = "The print took more than ten minutes. Print fewer papers at once."
            self.child.kill()
        elif not held.beat(self.job, progress=self.said.get("progress", 0), total=self.total):
            self.child.kill()

    def end(self) -> None:
        """The child has said all it had to say: keep its file, or why there is none."""
        code = self.child.wait()
        if code == 0 and "pages" in self.said:
            held.finish(self.job, file=self.target.name, pages=self.said["pages"])
            return
        for path in (self.target, Path(f"{self.target}.part")):
            path.unlink(missing_ok=True)
        gone = f"The printing process ended (code {code}). Try again, or print less at once."
        held.fail(self.job, self.said.get("failed") or gone)

    def close(self) -> None:
        """Let go of the child, which ends with its input if it still runs."""
        self.child.kill()
        self.child.wait()
        for pipe in (self.child.stdin, self.child.stdout):
            with contextlib.suppress(BrokenPipeError):
                present(pipe).close()


def run(job: PrintJob | None) -> None:
    """Make the file of `job`, and beside and after it those of the jobs that wait by then."""
    heard: queue.Queue[tuple[Making, dict | None]] = queue.Queue()
    made: list[Making] = []
    beaten = 0.0
    try:
        while job or made:
            if job and (started := _start(job, heard)):
                made.append(started)
            job = held.take_next() if len(made) < LANES else None
            if job or not made:
                continue
            try:
                making, said = heard.get(timeout=BEAT)
            except queue.Empty:
                said = {}
            else:
                if said is None:
                    making.end()
                    making.close()
                    made.remove(making)
                else:
                    making.said.update(said)
            if time.monotonic() - beaten >= BEAT:
                beaten = time.monotonic()
                for each in made:
                    each.beat()
    finally:
        for each in made:
            each.close()


def _start(job: PrintJob, heard: "queue.Queue[tuple[Making, dict | None]]") -> Making | None:
    """Build the sheets of `job` and start the child that prints them; None, with the reason kept, where that fails."""
    try:
        work = _work(job)
    except Exception as error:  # one print's fault must not break off the others
        logging.getLogger(__name__).exception("Print %s", job.pk)
        held.fail(job, f"The print failed: {type(error).__name__}: {error}")
        return None
    if not work["parts"]:
        held.fail(job, "There is nothing to print yet.")
        return None
    target = held.folder() / held.new_file()
    making = Making(job, _child(str(target)), target, total=len(work["parts"]) + 1)
    making.beat()
    threading.Thread(target=making.listen, args=(json.dumps(work) + "\n", heard), daemon=True).start()
    return making


def _work(job: PrintJob) -> dict:
    papers = [catalogue.named(key) for key in job.papers]
    title = f"{catalogue.title_of(job.what)} · {job.contest}"
    parts = catalogue.parts_of(job.contest, title, papers, Options.from_json(job.options))
    return {"style": style_text(), "parts": [[part.html, part.rules, part.seats] for part in parts]}


def _child(target: str) -> "subprocess.Popen[str]":
    # The child's input is held open: at its end it knows that the worker is gone.
    return start_child("reports.paper.child", target, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
