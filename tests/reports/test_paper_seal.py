"""Who may print what, and when; what must never stand on a paper."""

import itertools
import re

import pytest

from contest.models import Contest, LogRow
from judging.services.tally import close_tally, sign_off
from reports.models import PrintJob
from reports.paper import catalogue, held, jobs
from reports.paper.look import Options
from reports.results.publishing import publish
from tests import factories
from tests.reports.papers import print_papers, text_of

pytestmark = pytest.mark.django_db

PARTS = ("organiser", "announcer", "head_judge", "tally", "desk", "captain", "judge")
ALWAYS = {
    "organiser": {"check-in", "cooks", "judges", "tents"},
    "announcer": {"cooks"},
    "head_judge": {"cooks", "judges"},
    "tally": {"cooks", "judges"},
    "desk": {"check-in", "cooks"},
    "captain": set(),
    "judge": set(),
}
TABLES = {"score", "write-in", "captains"}
DRAWN = {
    "organiser": TABLES,
    "head_judge": TABLES,
    "tally": TABLES,
    "desk": {"labels", "label-test", "ledger"},
}
SIGNED = {"organiser": {"calls"}, "announcer": {"calls"}}
PUBLISHED = {
    "organiser": {"book", "teams", "certificates"},
    "announcer": {"book", "certificates"},
    "head_judge": {"book"},
    "tally": {"book"},
    "desk": {"book"},
}


def contest_in(state: str) -> Contest:
    if state == "preparing":
        return factories.make_contest(teams=6, tables=2)
    contest = factories.make_drawn(teams=6, tables=2)
    factories.take_in(contest)
    factories.mark_everything(contest)
    if state in ("closed", "signed", "published"):
        tally = close_tally(contest=contest, by="clerk")
        if state != "closed":
            sign_off(tally=tally, by="head judge")
        if state == "published":
            publish(contest=contest, by="organiser")
    contest.refresh_from_db()
    return contest


@pytest.mark.parametrize("state", ["preparing", "sealed", "closed", "signed", "published"])
def test_each_role_prints_what_its_state_of_the_contest_allows(state: str) -> None:
    contest = contest_in(state)
    steps = ["preparing", "sealed", "closed", "signed", "published"].index(state)
    for part in PARTS:
        wanted = set(ALWAYS[part])
        for step, more in ((1, DRAWN), (3, SIGNED), (4, PUBLISHED)):
            if steps >= step:
                wanted |= more.get(part, set())
        got = {paper.key for paper in catalogue.printable(contest, frozenset({part}))}
        assert got == wanted, f"{part} in a contest that is {state}"


@pytest.mark.parametrize("state", ["sealed", "signed"])
def test_asking_for_a_paper_of_another_role_is_refused_and_makes_nothing(state: str) -> None:
    contest = contest_in(state)
    for part in ("organiser", "announcer", "head_judge", "tally", "desk"):
        client = factories.client_for(contest, part)
        may = {paper.key for paper in catalogue.printable(contest, frozenset({part}))}
        for key in catalogue.PAPERS:
            if key in may:
                continue
            made = client.post(f"/c/{contest.slug}/paper/print/", {"what": key, "size": "a4"})
            shown = client.get(f"/c/{contest.slug}/paper/sheets/{key}/")
            assert (made.status_code, shown.status_code) == (403, 403), f"{key} as {part}"
    assert not PrintJob.objects.exists()
    assert client.post(f"/c/{contest.slug}/paper/print/", {"what": "nonsense"}).status_code == 404


def test_a_file_opens_only_for_those_who_may_print_it() -> None:
    contest = contest_in("sealed")
    ledger = jobs.start(contest=contest, what="ledger", papers=["ledger"], options=Options(), by="desk")
    name = held.new_file()
    (held.folder() / name).write_bytes(b"%PDF-")
    PrintJob.objects.update(state="done", file=name, pages=1)
    address = f"/c/{contest.slug}/paper/{ledger.key}/{contest.slug}-ledger.pdf"
    for part in ("organiser", "announcer", "head_judge", "tally"):
        client = factories.client_for(contest, part)
        assert client.get(address).status_code == 404
        assert str(ledger.key) not in client.get(f"/c/{contest.slug}/paper/").content.decode()
        assert client.get(f"/c/{contest.slug}/paper/{ledger.key}/", headers={"hx-request": "true"}).status_code == 404
    for part, status in (("captain", 403), ("judge", 403), ("stranger", 404), ("visitor", 302)):
        assert factories.client_for(contest, part).get(address).status_code == status
    before = LogRow.objects.filter(what="ledger opened").count()
    answer = factories.client_for(contest, "desk pass").get(address)
    assert answer.status_code == 200
    assert b"".join(answer.streaming_content) == b"%PDF-"
    assert LogRow.objects.filter(what="ledger opened").count() == before + 1
    held.forget(ledger)


def test_files_of_an_earlier_draw_are_out_of_reach() -> None:
    contest = contest_in("sealed")
    job = jobs.start(contest=contest, what="score", papers=["score"], options=Options(), by="clerk")
    assert jobs.jobs_for(contest, frozenset({"tally"})) == [job]
    contest.draws.filter(standing=True).update(number=2, reason="a table fell out")
    assert jobs.jobs_for(contest, frozenset({"tally"})) == []


def test_the_judges_packet_names_no_team() -> None:
    contest = contest_in("sealed")
    for number, entry in enumerate(contest.entries.select_related("team"), 1):
        entry.team.name = f"Zzyzx{number}"
        entry.team.head_cook = f"Qxcook{number}"
        entry.team.save()
    packet = next(
        papers
        for packet, papers in catalogue.packets(contest, frozenset({"organiser"}))
        if packet.key == "judges-packet"
    )
    assert [paper.key for paper in packet] == ["judges", "tents", "score", "write-in", "captains"]
    text = text_of(print_papers(contest, *(paper.key for paper in packet), address="http://field.test:8000"))
    assert "201" in text
    assert "Judge 1A" in text
    assert "Zzyzx" not in text
    assert "Qxcook" not in text


def test_papers_of_the_sealed_side_load_no_team(django_assert_max_num_queries) -> None:
    contest = contest_in("sealed")
    with django_assert_max_num_queries(500) as captured:
        for key in ("judges", "tents", "score", "write-in", "captains"):
            catalogue.PAPERS[key].build(contest, Options())
    asked = " ".join(query["sql"] for query in captured.captured_queries)
    for table in ("contest_team", "contest_entry", "contest_pairing", "contest_entered"):
        assert f'"{table}"' not in asked


def test_labels_carry_numbers_alone_sorted_and_two_for_each_box() -> None:
    contest = contest_in("sealed")
    text = text_of(print_papers(contest, "labels"))
    assert re.findall(r"\b2\d\d\b", text) == sorted(number for number in map(str, range(201, 213)) for _ in range(2))
    assert "Team" not in text


def test_why_a_box_is_not_judged_stays_off_the_tables_papers() -> None:
    contest = factories.make_drawn(teams=6, tables=1, categories=("chicken",))
    boxes = list(contest.boxes.order_by("number"))
    factories.take_in(contest, "late", boxes[:1])
    factories.take_in(contest, "absent", boxes[1:2])
    factories.take_in(contest, "accepted", boxes[2:])
    text = text_of(print_papers(contest, "score", "captains"))
    assert "late" not in text.lower()
    assert "absent" not in text.lower()
    assert text.count("not judged") == 2 * 6 + 2  # six seats and the captain


def test_the_book_names_no_judge_table_or_seat() -> None:
    contest = contest_in("published")
    text = text_of(print_papers(contest, "book"))
    assert "Judge " not in text
    assert not re.search(r"\b[Tt]able \d", text)
    assert not re.search(r"\b[Ss]eat [A-F]\b", text)
    for word in ("agreement", "severity", "reliab"):
        assert word not in text.lower()
    assert "ffff ffff ffff ffff ffff" in text


def test_fingerprint_is_on_the_sheets_that_people_keep() -> None:
    contest = contest_in("published")
    finger = "f" * 20
    with_it = {
        key
        for key in catalogue.PAPERS
        if finger in text_of(print_papers(contest, key)).replace("\n", "").replace(" ", "")
    }
    assert with_it == {"cooks", "captains", "ledger", "book"}


def test_a_part_beside_another_gets_the_papers_of_both() -> None:
    contest = factories.make_drawn(teams=6, one_person=True)
    both = {paper.key for paper in catalogue.printable(contest, frozenset({"organiser", "desk"}))}
    assert both == ALWAYS["organiser"] | ALWAYS["desk"] | DRAWN["organiser"] | DRAWN["desk"]
    pairs = itertools.pairwise(paper.key for paper in catalogue.printable(contest, frozenset({"organiser", "desk"})))
    order = list(catalogue.PAPERS)
    assert all(order.index(one) < order.index(other) for one, other in pairs)
