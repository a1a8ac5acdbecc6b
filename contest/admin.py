"""Django's admin for the installation's owner: accounts and seasons. Sealed models are never registered here."""

from typing import Any, ClassVar

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.models import Group
from django.db import transaction
from django.db.models import QuerySet
from django.forms import ModelForm
from django.http import HttpRequest

from contest.models import Account, Season, Team, TeamMember
from contest.services.names import log_corrected_team

# Deleting in bulk takes rows that contests stand on, and breaks on a list that was tampered with.
admin.site.disable_action("delete_selected")


class ShortSearch(admin.ModelAdmin):
    """Every word searched for is a condition of the query, and a database takes so many."""

    def get_search_results(
        self, request: HttpRequest, queryset: QuerySet[Any], search_term: str
    ) -> tuple[QuerySet[Any], bool]:
        return super().get_search_results(request, queryset, search_term[:100])


@admin.register(Account)
class AccountAdmin(ShortSearch, UserAdmin):
    """Parts are given in each contest: there are no groups and no single permissions."""

    fieldsets = [
        (None, {"fields": ["username", "password"]}),
        ("The person", {"fields": ["first_name", "last_name", "email"]}),
        ("May", {"fields": ["is_active", "is_staff", "is_superuser"]}),
    ]
    list_filter = ["is_staff", "is_superuser", "is_active"]
    filter_horizontal: ClassVar[list[str]] = []


admin.site.unregister(Group)


@admin.register(Season)
class SeasonAdmin(ShortSearch):
    list_display = ["name", "year"]
    search_fields = ["name", "year"]


class MemberInline(admin.TabularInline):
    model = TeamMember
    extra = 1


@admin.register(Team)
class TeamAdmin(ShortSearch):
    list_display = ["name", "head_cook", "home"]
    search_fields = ["name"]
    inlines = [MemberInline]

    def save_model(self, request: HttpRequest, obj: Team, form: ModelForm, change: bool) -> None:
        """Save the team, and log a corrected name in the contests whose draw covers it."""
        with transaction.atomic():
            super().save_model(request, obj, form, change)
            log_corrected_team(team=obj, by=str(request.user))
