"""What anybody may know of a contest's draw: sums from the start, the secret and the drawn list once published."""

from dataclasses import dataclass

from contest.models import Contest, Draw
from contest.selectors.draw import SEALED_TEXTS, commitment_before_draw
from reports.rules.package.archive import public_name


@dataclass(frozen=True)
class DrawFile:
    """One of the draw's texts: its name for downloading, and the name that the package and the shell lines use."""

    name: str
    what: str
    draw: int


def public_draws(contest: Contest) -> list[Draw]:
    """Every draw without its secret, its seed and its list, in their order; the last one stands."""
    return list(contest.draws.defer(*SEALED_TEXTS).order_by("number"))


def known_commitment(contest: Contest, draws: list[Draw]) -> str:
    """The commitment to the secret; empty before there is one."""
    return draws[0].commitment if draws else commitment_before_draw(contest)


def released_files(contest: Contest, draws: list[Draw]) -> list[DrawFile]:
    """What may be downloaded now. The secret and the lists only once the result is published."""
    files = [
        DrawFile(public_name(draw.number), f"the public lines of draw {draw.number}", draw.number) for draw in draws
    ]
    if contest.state == Contest.State.PUBLISHED and draws:
        files.insert(0, DrawFile("secret.txt", "the secret", draws[-1].number))
        for draw in draws:
            if draw.standing:
                files.append(DrawFile("draw.txt", "which box went where, and whose it was", draw.number))
            else:
                text = f"draw {draw.number}, which did not count"
                files.append(DrawFile(f"draw-{draw.number}.txt", text, draw.number))
    return files


def text_of(contest: Contest, file: DrawFile) -> str:
    """The content of a released file."""
    draw = contest.draws.get(number=file.draw)
    if file.name == "secret.txt":
        return draw.secret_text
    return draw.public_text if file.name.startswith("public") else draw.draw_text
