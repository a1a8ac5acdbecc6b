"""The public page of a draw: sums before publishing, everything after; and nothing of the secret on any page before."""

import re
import subprocess
from hashlib import sha256

import pytest
from django.urls import get_resolver, reverse

from contest.checks import walk
from contest.models import Contest, Draw, DrawCeremony
from contest.selectors.pairing import entry_of_boxes
from contest.services.draw import begin_ceremony, make_draw
from contest.services.redraw import redraw
from reports.rules.package.archive import unpack
from tests.factories import client_for, make_contest
from tests.running import close_and_publish, run_day

pytestmark = pytest.mark.django_db

ROLES = ("visitor", "stranger", "organiser", "announcer", "head_judge", "tally", "captain", "judge", "desk")


def url(contest, name="draw_check", *more):
    return reverse(f"reports:{name}", args=[contest.slug, *more])


def drawn(**fields):
    contest = make_contest(**{"teams": 4, "tables": 2, **fields})
    begin_ceremony(contest=contest, by="organiser")
    make_draw(contest=contest, by="organiser", words=["smoke", "77"])
    contest.refresh_from_db()
    return contest


def test_before_there_is_a_commitment_there_is_no_such_page(client):
    contest = make_contest()
    assert client.get(url(contest)).status_code == 404
    assert client.get("/r/no-such-contest/draw/").status_code == 404


def test_with_the_ceremony_the_commitment_is_public_before_the_draw(client):
    contest = make_contest()
    commitment = begin_ceremony(contest=contest, by="organiser")
    page = client.get(url(contest)).content.decode()
    assert commitment in page
    assert DrawCeremony.objects.get().secret_text.strip() not in page
    for name in ("secret.txt", "public.txt", "draw.txt"):
        assert client.get(url(contest, "draw_file", name)).status_code == 404


def test_once_drawn_the_sums_and_the_public_lines(client):
    contest = drawn()
    draw = Draw.objects.get()
    page = client.get(url(contest)).content.decode()
    for shown in (contest.name, "13 June 2026", draw.commitment, draw.fingerprint, "word\tsmoke", "word\t77"):
        assert shown in page
    assert client.get(url(contest, "draw_file", "public.txt")).content.decode() == draw.public_text
    for name in ("secret.txt", "draw.txt", "draw-1.txt", "public-2.txt", "seed.txt"):
        assert client.get(url(contest, "draw_file", name)).status_code == 404


def test_a_visitor_learns_nothing_else_of_the_contest(client):
    contest = drawn(place="Example Field")
    page = client.get(url(contest)).content.decode()
    assert "Example Field" not in page
    assert "chicken" not in page.lower()
    for entry in contest.entries.select_related("team"):
        assert entry.team.name not in page
    assert f"/c/{contest.slug}/" not in page
    # The sums, the name and the address may hold any digits.
    rest = re.sub(r"[0-9a-f]{64}", "", page).replace(contest.slug, "").replace(contest.name, "")
    for box in contest.boxes.all():
        assert not re.search(rf"\b{box.number}\b(?![0-9a-f])", rest)


def test_a_practice_has_no_public_page(client):
    """Not for its own people either, who have pages that speak of a practice."""
    contest = drawn(kind=Contest.Kind.PRACTICE)
    for address in (url(contest), url(contest, "draw_file", "public.txt")):
        assert client.get(address).status_code == 404
        assert client_for(contest, "organiser").get(address).status_code == 404


def test_after_publishing_the_shell_agrees_with_every_sum(client, tmp_path):
    """`sha256sum` of the coreutils against the sums on the page, with the lines that the page tells to type."""
    contest = run_day(redrawn="a table broke")
    close_and_publish(contest)
    draws = list(Draw.objects.order_by("number"))
    page = client.get(url(contest)).content.decode()
    names = re.findall(r'draw/([\w.-]+)"', page)
    assert sorted(set(names)) == ["draw-1.txt", "draw.txt", "public-2.txt", "public.txt", "secret.txt"]
    for name in names:
        answer = client.get(url(contest, "draw_file", name))
        assert answer["Content-Disposition"] == f'attachment; filename="{name}"'
        (tmp_path / name).write_bytes(answer.content)

    def shell(line):
        return subprocess.run(line, shell=True, capture_output=True, text=True, cwd=tmp_path, check=True).stdout.split()

    lines = re.findall(r"<dt><code>(.*?)</code></dt>", page)
    assert lines == ["sha256sum secret.txt", "cat secret.txt public-2.txt | sha256sum", "sha256sum draw.txt"]
    sums = [shell(line)[0] for line in lines]
    assert sums == [draws[1].commitment, draws[1].seed, draws[1].fingerprint]
    assert sums[0] in page
    assert sums[2] in page
    assert (tmp_path / "draw.txt").read_text().split("\n")[1] == f"seed\t{sums[1]}"
    assert shell("sha256sum draw-1.txt")[0] == draws[0].fingerprint
    assert shell("cat secret.txt public.txt | sha256sum")[0] == draws[0].seed
    assert "Drawn again: a table broke" in page
    assert draws[0].fingerprint in page


def test_the_files_are_those_of_the_package(client):
    contest = close_and_publish(run_day())
    package = unpack(client.get(url(contest, "package")).content)
    for name in ("secret.txt", "public.txt", "draw.txt"):
        assert client.get(url(contest, "draw_file", name)).content == package[name]


def seen_by(client, contest):
    """Every page that a role can open in the contest: address → text."""
    box = contest.boxes.order_by("number").first()
    values = {
        "slug": contest.slug,
        "number": contest.entries.first().number,
        "key": "chicken",
        "category": "chicken",
        "table": 1,
        "seat": "A",
        "revision": 1,
        "kind": "teams",
        "ending": "csv",
        "name": "public.txt",
        "uid": contest.attendances.first().judge.uid,
    }
    found = {}
    for route, _ in walk(get_resolver()):
        wanted = dict(values, number=box.number) if "<str:number>" in route else values
        names = re.findall(r"<(?:\w+:)?(\w+)>", route)
        if not set(names) <= set(wanted) or "sheet/" in route:
            continue
        address = "/" + re.sub(r"<(?:\w+:)?(\w+)>", lambda each, known=wanted: str(known[each.group(1)]), route)
        answer = client.get(address)
        if answer.status_code == 200 and not answer.streaming:
            found[address] = answer.content.decode(errors="replace")
    return found


@pytest.mark.parametrize("role", ROLES)
def test_before_publishing_no_page_shows_the_secret_the_seed_or_the_list(role):
    contest = drawn()
    redraw(contest=contest, reason="a table broke", by="organiser")
    contest.refresh_from_db()
    owners = {box.number: entry_of_boxes(contest)[box.pk] for box in contest.boxes.filter(draw__standing=True)}
    pages = seen_by(client_for(contest, role), contest)
    assert f"/r/{contest.slug}/draw/" in pages
    for address, text in pages.items():
        for draw in Draw.objects.all():
            for hidden in (draw.secret_text.strip(), draw.seed, draw.draw_text):
                assert hidden not in text, address
        if role == "desk":  # it must know whose box is whose
            continue
        shown = [number for number in owners if re.search(rf">\s*{number}\s*<", text)]
        names = [entry for entry in owners.values() if entry.team.name in text]
        assert not (shown and names), address


def test_the_sums_are_those_of_the_texts():
    contest = drawn()
    draw = contest.draws.get()
    assert sha256(draw.draw_text.encode()).hexdigest() == draw.fingerprint
