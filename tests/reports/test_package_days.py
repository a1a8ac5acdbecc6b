"""Results packages of days on which something happened: each must hold, by both verifiers."""

import html
import re
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import reverse

from contest.models import Category, Contest, Draw, LogChain, LogRow
from contest.rules.draw.commitment import short_form
from contest.selectors.boxes import standing_boxes
from contest.selectors.pairing import entry_of_boxes
from contest.services.desk import correct_labels
from contest.services.draw import begin_ceremony, make_draw
from contest.services.people import withdraw
from contest.services.redraw import Changes, LateTeam, redraw
from contest.services.setup import add_category
from contest.services.windows import cancel_category
from judging.models import Card, Reading, Ruling
from judging.selectors.keying import find_second
from judging.selectors.marks import marks_of
from judging.services.cards import hand_in_sheet
from judging.services.keying import key_again
from judging.services.rulings import rule, rule_cards, withdraw_ruling
from judging.services.tally import close_tally, revise, sign_off, unlock_marks
from reports.results.publishing import publish
from reports.rules.package.archive import SUMS, sha256, unpack
from reports.rules.package.verify import verify
from tests.factories import make_contest, make_rule_set
from tests.reports import second_verifier
from tests.running import close_and_publish, run_day

pytestmark = pytest.mark.django_db


def package(contest, revision=1):
    """The files as they were handed out with a revision."""
    return unpack(bytes(contest.publications.get(tally__revision=revision).package))


def failing(files, **printed):
    return [finding.text for finding in verify(files, **printed) if not finding.holds]


def check(contest, revision=1):
    """The package of a revision holds against what was printed on the day; its files."""
    files = package(contest, revision)
    printed = contest.draws.get(standing=True).fingerprint
    head = contest.publications.get(tally__revision=revision).log_heads["cards"]
    publication = contest.publications.get(tally__revision=revision)
    assert failing(files, draw=printed, log=head, whole=publication.package_sum) == []
    assert second_verifier.verify(files, printed, publication.log_heads["day"]) == []
    assert check_py_complaints(publication, draw=printed, log=head, sum=publication.package_sum) == []
    return files


def check_py_complaints(publication, **noted):
    """What the package's own check.py, in a bare interpreter, says of the zip."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "package.zip").write_bytes(bytes(publication.package))
        (folder / "check.py").write_bytes(unpack(bytes(publication.package))["check.py"])
        options = [part for value, text in noted.items() for part in (f"--{value}", text)]
        done = subprocess.run(
            [sys.executable, "-I", "check.py", "package.zip", *options],
            cwd=folder, capture_output=True, encoding="utf-8",
        )  # fmt: skip
    assert (done.returncode in (0, 1), done.stderr) == (True, "")
    return [line for line in done.stdout.splitlines() if line.startswith("FAILS")]


def correct_a_mark(contest, mark=9):
    """A mark is keyed anew under unlocked marks, and the result revised and signed."""
    unlock_marks(contest=contest, reason="a sheet was read again", by="head judge")
    reading = Reading.objects.filter(standing=True, card__box__contest=contest).select_related("card__box").first()
    box, seat = reading.card.box, reading.card.seat
    marks = {each.criterion: each.value for each in reading.marks.all()}
    marks["taste"] = mark if marks["taste"] != mark else mark - 1
    hand_in_sheet(
        contest=contest,
        category=box.category,
        seat=seat,
        marks={box.number: {key: str(int(value)) for key, value in marks.items()}},
        by="clerk",
        reason="read again",
    )


def publish_revision(contest, reason="a sheet was read again"):
    sign_off(tally=revise(contest=contest, reason=reason, by="organiser"), by="head judge")
    publish(contest=contest, by="organiser")
    contest.refresh_from_db()


def boxes_by_team(contest, key):
    owners = entry_of_boxes(contest)
    return {owners[box.pk].number: box for box in standing_boxes(contest).filter(category__key=key)}


def test_a_day_that_was_drawn_again():
    def changes(contest):
        late = LateTeam("Team Aspen", categories=tuple(contest.categories.all()))
        return Changes(late=late, lost_tables=[contest.tables.get(number=2)], more_tables=2)

    contest = close_and_publish(run_day(tables=3, redrawn="a team came late, a table broke", changes=changes))
    files = check(contest)
    assert {"public.txt", "public-2.txt"} <= set(files)
    assert b"reason\ta team came late, a table broke\n" in files["public-2.txt"]
    assert "log of the day names 2 draws" in " ".join(finding.text for finding in verify(files))
    assert files["secret.txt"].decode() == Draw.objects.get(contest=contest, number=1).secret_text


def test_a_redraw_that_is_kept_quiet_is_found():
    contest = close_and_publish(run_day(redrawn="a table broke"))
    files = package(contest)
    quiet = {name: data for name, data in files.items() if name != "public.txt"}
    quiet["public.txt"] = quiet.pop("public-2.txt")
    assert any("does not name one draw" in text for text in failing(quiet))


def test_a_draw_with_the_words_of_the_teams():
    def speak(contest):
        begin_ceremony(contest=contest, by="organiser")

    contest = run_day(before=speak, redrawn="a table broke")
    files = check(close_and_publish(contest))
    assert "The commitment is in the log before the boxes were drawn." in [each.text for each in verify(files)]


def test_words_called_out_are_part_of_the_seed():
    contest = make_contest()
    begin_ceremony(contest=contest, by="organiser")
    draw = make_draw(contest=contest, by="organiser", words=["smoke"])
    redraw(contest=contest, reason="a table broke", by="organiser")
    assert "word\tsmoke" in draw.public_text


def test_labels_corrected_before_closing_and_after_it():
    """A correction after closing counts from the next revision on; the first package is that of the first tally."""
    contest = run_day()
    tally = close_tally(contest=contest, by="organiser")
    contest.refresh_from_db()
    boxes = boxes_by_team(contest, "ribs")
    correct_labels(contest=contest, one=boxes[2], other=boxes[3], reason="seen too late", by="desk")
    sign_off(tally=tally, by="head judge")
    publish(contest=contest, by="organiser")
    first = check(contest)
    assert first["labels.csv"].count(b"\n") == 2
    publish_revision(contest, reason="labels were swapped")
    second = check(contest, revision=2)
    assert second["labels.csv"].count(b"\n") == 3
    assert b"seen too late" in second["labels.csv"]
    assert first["results.csv"] != second["results.csv"]


def test_a_revision_after_publishing_and_marks_that_change_meanwhile():
    contest = close_and_publish(run_day())
    first = package(contest)
    correct_a_mark(contest)
    check(contest)
    publish_revision(contest)
    second = check(contest, revision=2)
    assert package(contest) == first, "what went out stays as it was"
    assert first["cards.csv"] != second["cards.csv"]
    assert second["log-cards.csv"].startswith(first["log-cards.csv"])
    assert second["log-day.csv"].startswith(first["log-day.csv"])


def test_marks_that_change_between_closing_and_publishing_are_not_in_the_package():
    contest = run_day()
    tally = close_tally(contest=contest, by="organiser")
    contest.refresh_from_db()
    correct_a_mark(contest)
    sign_off(tally=tally, by="head judge")
    publish(contest=contest, by="organiser")
    check(contest)


@pytest.mark.parametrize("key", ["chicken", "ribs"])
def test_a_category_that_was_cancelled_after_its_marks(key):
    contest = run_day()
    cancel_category(category=contest.categories.get(key=key), reason="a storm", by="organiser")
    files = check(close_and_publish(contest))
    assert f"rules/{key}.toml" not in files
    assert f"\n{key}," not in files["results.csv"].decode()


def test_a_team_that_withdrew_after_the_draw():
    contest = run_day()
    withdraw(entry=contest.entries.get(number=1), category=None, reason="went home", by="organiser")
    check(close_and_publish(contest))


def test_a_category_with_rules_of_its_own():
    def own(contest):
        contest.categories.filter(key="dessert").update(rule_set=make_rule_set("four-criteria"))

    contest = close_and_publish(run_day(before=own, categories=("chicken", "ribs", "dessert")))
    files = check(contest)
    assert b"impression" in files["cards.csv"].split(b"\n")[0]
    assert files["rules/dessert.toml"] != files["rules/ribs.toml"]


def test_a_box_that_nobody_marked():
    """Every card of it is dismissed and then ruled lost: it is short, and its team is still the draw's."""
    contest = run_day()
    box = boxes_by_team(contest, "ribs")[5]
    seats = list(box.table.seats.all())
    for kind in (Ruling.Kind.DISMISSAL, Ruling.Kind.LOST):
        rule_cards(contest=contest, kind=kind, box=box, seats=seats, reason="the box fell", by="head judge")
    files = check(close_and_publish(contest))
    assert f"ribs,{box.number}," not in files["cards.csv"].decode()
    assert f"ribs,,{box.number},5,,short" in files["results.csv"].decode()


def test_a_contest_without_an_overall():
    def none_counts(contest):
        contest.categories.update(counts_overall=False)

    files = check(close_and_publish(run_day(before=none_counts)))
    assert "\noverall," not in files["results.csv"].decode()
    assert "--overall" not in files["READ-ME.txt"].decode()


def test_one_counting_category():
    def one_counts(contest):
        contest.categories.filter(key="ribs").update(counts_overall=False)

    files = check(close_and_publish(run_day(before=one_counts)))
    assert "--overall chicken " in files["READ-ME.txt"].decode()


@pytest.mark.parametrize("taken_back", [0, 1])
def test_two_dismissals_of_one_card_of_which_one_is_taken_back(taken_back):
    """The first reading is dismissed, then the second; what counts in the end depends on which ruling goes."""
    contest = run_day()
    box = boxes_by_team(contest, "ribs")[5]
    seat = box.table.seats.get(letter="A")

    def dismiss():
        return rule(
            contest=contest, kind="dismissal", scope="card", box=box, seat=seat, reason="smelled it", by="head judge"
        )

    def mark(value):
        marks = {box.number: dict.fromkeys(("appearance", "taste", "tenderness"), value)}
        hand_in_sheet(contest=contest, category=box.category, seat=seat, marks=marks, by="clerk", reason="anew")

    rulings = [dismiss()]
    mark("4")
    rulings.append(dismiss())
    withdraw_ruling(ruling=rulings[taken_back], reason="looked again", by="head judge")
    if taken_back == 0:  # the second reading is still set aside: the card waits until it is marked once more
        mark("6")
    expected = "6,6,6" if taken_back == 0 else "4,4,4"
    files = check(close_and_publish(contest))
    assert f"ribs,{box.number},{box.table.number},A,{expected}," in files["cards.csv"].decode()


def test_card_keyed_again_is_not_counted_as_a_reading():
    """Keyed, keyed again, corrected, dismissed, keyed: for the log's readers the dismissed reading is the second."""
    contest = run_day(keying="all")
    box = boxes_by_team(contest, "ribs")[5]
    seat = box.table.seats.get(letter="A")
    cards = Card.objects.filter(seat=seat, box__number__in=find_second(contest, box.category, seat).due)
    marks = {card.box.number: marks_of(card.readings.get(standing=True)) for card in cards.select_related("box")}
    key_again(contest=contest, category=box.category, seat=seat, marks=marks, by="second clerk")
    Contest.objects.filter(pk=contest.pk).update(keying=Contest.Keying.SINGLE)

    def correct(value):
        changed = {box.number: dict.fromkeys(("appearance", "taste", "tenderness"), value)}
        hand_in_sheet(contest=contest, category=box.category, seat=seat, marks=changed, by="clerk", reason="misread")

    correct("4")
    rule_cards(contest=contest, kind="dismissal", box=box, seats=[seat], reason="the sheet was wet", by="head judge")
    correct("6")
    contest.refresh_from_db()
    files = check(close_and_publish(contest))
    assert f"ribs,{box.number},{box.table.number},A,6,6,6," in files["cards.csv"].decode()


def test_labels_swapped_in_a_category_cancelled_later():
    contest = run_day()
    assert contest.label_corrections.filter(one__category__key="chicken").exists()
    cancel_category(category=contest.categories.get(key="chicken"), reason="a storm", by="organiser")
    files = check(close_and_publish(contest))
    assert files["labels.csv"].count(b"\n") == 2


def test_reason_with_another_unicode_form_holds():
    """A keyboard may send e and its accent as two signs; the public text has them as one."""
    files = check(close_and_publish(run_day(redrawn="the cafe\u0301 table broke")))
    assert "reason\tthe caf\u00e9 table broke\n".encode() in files["public-2.txt"]


def test_the_log_says_which_reading_was_dismissed():
    contest = run_day()
    row = LogRow.objects.filter(chain__contest=contest, what="ruling", facts__contains="dismissal").get()
    assert '"reading":1' in row.facts


# What is offered


def get(client, contest, name, *more):
    return client.get(reverse(f"reports:{name}", args=[contest.slug, *more]))


def test_the_package_is_there_for_everybody_once_published(client):
    contest = run_day()
    tally = close_tally(contest=contest, by="organiser")
    assert get(client, contest, "package").status_code == 404
    sign_off(tally=tally, by="head judge")
    assert get(client, contest, "package").status_code == 404
    publish(contest=contest, by="organiser")
    answer = get(client, contest, "package")
    publication = contest.publications.get()
    assert answer["Content-Type"] == "application/zip"
    assert answer["Content-Disposition"] == f'attachment; filename="{contest.slug}-package.zip"'
    assert sha256(unpack(answer.content)[SUMS]) == publication.package_sum
    assert failing(unpack(answer.content)) == []


def test_the_log_in_the_package_ends_with_the_publication():
    contest = close_and_publish(run_day())
    last = package(contest)["log-day.csv"].decode().strip().split("\n")[-1]
    assert "result published" in last
    heads = contest.publications.get().log_heads
    assert heads == {name: LogChain.objects.get(contest=contest, name=name).head for name in ("day", "cards")}


def test_result_shows_every_value_and_links_the_check(client):
    contest = close_and_publish(run_day())
    page = get(client, contest, "results").content.decode()
    publication, draw = contest.publications.get(), contest.draws.get()
    for full in (publication.package_sum, *publication.log_heads.values(), draw.fingerprint, draw.commitment):
        assert full in page
        assert short_form(full) in page
    assert reverse("reports:draw_check", args=[contest.slug]) in page


def test_check_page_shows_three_commands_with_the_values(client, tmp_path):
    """The commands are run as the page shows them; the zip is unpacked as the page says."""
    contest = close_and_publish(run_day())
    page = html.unescape(re.sub("</?span>", "", get(client, contest, "draw_check").content.decode()))
    publication, draw = contest.publications.get(), contest.draws.get()
    commands = re.findall(r"<pre>((?:sha256sum|python3).*?)</pre>", page, re.DOTALL)
    noted = [
        short_form(full, "-") for full in (draw.fingerprint, publication.log_heads["day"], publication.package_sum)
    ]
    options = " --draw {} --log {} --sum {}".format(*noted)
    name = f"{contest.slug}-package.zip"
    assert commands == [
        "sha256sum -c SHA256SUMS",
        f"python3 check.py{options}",
        f"python3 manage.py verify {name}{options}",
    ]
    (tmp_path / name).write_bytes(bytes(publication.package))
    with zipfile.ZipFile(tmp_path / name) as archive:
        archive.extractall(tmp_path / "unpacked")
    for command, folder in zip(commands, ("unpacked", "unpacked", "."), strict=True):
        line = command.replace("python3", sys.executable).replace("manage.py", str(settings.BASE_DIR / "manage.py"))
        done = subprocess.run(line, shell=True, cwd=tmp_path / folder, capture_output=True, text=True)
        assert done.returncode == 0, done.stdout + done.stderr
        assert "FAILS" not in done.stdout


def test_the_seal_on_the_result_tells_of_the_new_draw(client):
    def changes(contest):
        return Changes(
            late=LateTeam("Team Aspen", categories=tuple(contest.categories.all())),
            lost_tables=[contest.tables.get(number=2)],
            more_tables=1,
        )

    contest = run_day(
        before=lambda contest: begin_ceremony(contest=contest, by="organiser"), redrawn="a late team", changes=changes
    )
    page = get(client, close_and_publish(contest), "results").content.decode()
    for line in (
        "The secret of the draw was made, before the teams called out words.",
        "The boxes were drawn (draw 1); 12 boxes.",
        "Team 7 came late and was entered.",
        "The tables changed before the boxes were drawn again: table 2 lost; table 3 added.",
        "The boxes were drawn (draw 2); 14 boxes. Reason for drawing again: a late team",
    ):
        assert line in page


def test_an_earlier_revision_stays_to_be_had(client):
    contest = close_and_publish(run_day())
    correct_a_mark(contest)
    publish_revision(contest)
    newest = get(client, contest, "package")
    first = get(client, contest, "revision_package", 1)
    assert newest["Content-Disposition"].endswith('-package-revision-2.zip"')
    assert sha256(unpack(newest.content)[SUMS]) == contest.publications.get(tally__revision=2).package_sum
    assert sha256(unpack(first.content)[SUMS]) == contest.publications.get(tally__revision=1).package_sum
    assert get(client, contest, "revision_package", 3).status_code == 404
    page = get(client, contest, "revision", 1).content.decode()
    assert contest.publications.get(tally__revision=1).package_sum in page


def test_a_practice_keeps_its_package_to_its_people(client):
    contest = close_and_publish(run_day(kind=Contest.Kind.PRACTICE))
    assert get(client, contest, "package").status_code == 404


def test_a_publication_is_read_without_its_package():
    """The zip may have a megabyte; lists of publications do not carry it."""
    contest = close_and_publish(run_day())
    assert "package" in contest.publications.get().get_deferred_fields()
    assert "package" in contest.tallies.get().publication.get_deferred_fields()


def test_no_category_takes_a_name_that_the_package_needs():
    contest = make_contest(teams=1)
    noon = Category.objects.first().turn_in_at
    keys = [add_category(contest=contest, name=name, turn_in_at=noon).key for name in ("Contest", "Overall")]
    assert keys == ["contest-2", "overall-2"]
