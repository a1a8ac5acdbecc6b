from contest.management.open_command import OpenCommand
from reports import verify_cli


class Command(OpenCommand):
    module = verify_cli
