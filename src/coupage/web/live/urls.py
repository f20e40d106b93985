from django.urls import path

from coupage.web.live.views import host, joining, sheet, wall

app_name = "live"

urlpatterns = [
    path("join/", joining.enter, name="enter"),
    path("join/<str:letters>/", joining.join, name="join"),
    path("seat/worker.js", sheet.worker, name="worker"),
    path("seat/<str:token>/", sheet.seat, name="seat"),
    path("seat/<str:token>/sheet/", sheet.sheet, name="sheet"),
    path("seat/<str:token>/pulse/", sheet.pulse, name="pulse"),
    path("seat/<str:token>/touches/", sheet.touches, name="touches"),
    path("cuppings/<int:pk>/live/", host.host, name="host"),
    path("cuppings/<int:pk>/live/code/", host.code, name="code"),
    path("cuppings/<int:pk>/live/clock/<str:deed>/", host.clock, name="clock"),
    path("cuppings/<int:pk>/live/ask/", host.nudge_all, name="nudge-all"),
    path("cuppings/<int:pk>/live/pulse/", host.table_pulse, name="table-pulse"),
    path("cuppings/<int:pk>/live/shots/", host.shots, name="shots"),
    path("cuppings/<int:pk>/live/wall/", wall.wall, name="wall"),
    path("cuppings/seats/<int:pk>/taste/", sheet.taste, name="taste"),
    path("cuppings/seats/<int:pk>/code/", host.seat_code, name="seat-code"),
    path("cuppings/seats/<int:pk>/ask/", host.nudge, name="nudge"),
    path("cuppings/seats/<int:pk>/late/", host.late, name="late"),
]
