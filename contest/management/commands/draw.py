from contest import draw_cli
from contest.management.open_command import OpenCommand


class Command(OpenCommand):
    module = draw_cli
