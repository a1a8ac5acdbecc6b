from django.apps import AppConfig
from django.db.models.signals import post_migrate


class ContestConfig(AppConfig):
    name = "contest"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from contest import appendonly, steps
        from contest.services.rulesets import ensure_shipped_rule_sets

        steps.register()
        appendonly.register()
        post_migrate.connect(ensure_shipped_rule_sets, sender=self, dispatch_uid="shipped rule sets")
