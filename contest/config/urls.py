"""The composition root: apps are named by string, so that no import runs upward."""

from django.contrib import admin
from django.urls import include, path

urlpatterns = [
    path("site-admin/", admin.site.urls),
    path("", include("contest.urls")),
    path("", include("judging.urls")),
    path("", include("reports.urls")),
]
