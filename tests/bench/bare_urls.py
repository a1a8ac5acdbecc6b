"""The site and one bare address more, which the bench measures against: a view that inserts one row and no more."""

import secrets

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import include, path
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt

from contest.access import anyone
from contest.models import FailedTries


@csrf_exempt
@anyone
def insert(request: HttpRequest) -> HttpResponse:
    FailedTries.objects.create(key=secrets.token_hex(32), since=timezone.now())
    return JsonResponse({"state": "stored"}, status=201)


urlpatterns = [path("bench/insert/", insert), path("", include("contest.config.urls"))]
