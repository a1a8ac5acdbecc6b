from contest.management.open_command import OpenCommand
from judging import tally_cli


class Command(OpenCommand):
    module = tally_cli
