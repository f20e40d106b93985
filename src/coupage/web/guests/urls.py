from django.urls import path

from coupage.web.guests.views import entry, prints, tests, tray

app_name = "guests"

urlpatterns = [
    path("", tests.index, name="index"),
    path("add/", tests.add, name="add"),
    path("size/", tests.size, name="size"),
    path("<int:pk>/", tests.test, name="test"),
    path("<int:pk>/change/", tests.change, name="change"),
    path("<int:pk>/open/", tests.open_test, name="open"),
    path("<int:pk>/close/", tests.close, name="close"),
    path("<int:pk>/reopen/", tests.reopen, name="reopen"),
    path("<int:pk>/put-away/", tests.put_away, name="put-away"),
    path("<int:pk>/more/", tests.more, name="more"),
    path("<int:pk>/answers/", tests.answers, name="answers"),
    path("<int:pk>/enter/", entry.next_one, name="enter-next"),
    path("<int:pk>/enter/<int:tray>/<int:turn>/", entry.enter, name="enter"),
    path("answers/<int:pk>/take-back/", entry.take_back, name="take-back"),
    path("answers/<int:pk>/put-back/", entry.put_back, name="put-back"),
    path("<int:pk>/pouring/", prints.pouring, name="pouring"),
    path("<int:pk>/serving/", prints.serving, name="serving"),
    path("<int:pk>/slips/", prints.slips, name="slips"),
    path("tray/<str:token>/", tray.tray, name="tray"),
    path("tray/<str:token>/change/", tray.change, name="change-answer"),
    path("<int:pk>/labels/", prints.labels, name="labels"),
]
