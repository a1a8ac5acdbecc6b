from contest.management.open_command import OpenCommand
from reports import severity_cli


class Command(OpenCommand):
    module = severity_cli
