from django.urls import path

from coupage.web.people.doors import door_urls
from coupage.web.production.tables import DOORS
from coupage.web.production.views import prints, runs, setup, stock, tracing

app_name = "production"

urlpatterns = [
    path("", runs.index, name="index"),
    path("runs/add/", runs.add, name="add"),
    path("runs/<int:pk>/", runs.run, name="run"),
    path("runs/<int:pk>/weigh/<int:lift>/", runs.weigh, name="weigh"),
    path("runs/<int:pk>/take-back/<int:lift>/", runs.take_back, name="take-back"),
    path("runs/<int:pk>/mixing/", runs.check, name="check"),
    path("runs/<int:pk>/pack/", runs.pack, name="pack"),
    path("runs/<int:pk>/close/", runs.close, name="close"),
    path("runs/<int:pk>/reopen/", runs.reopen, name="reopen"),
    path("runs/<int:pk>/void/", runs.void, name="void"),
    path("runs/<int:pk>/hold/", runs.hold, name="hold"),
    path("runs/<int:pk>/release/", runs.release, name="release"),
    path("runs/<int:pk>/sheet/", prints.sheet, name="sheet"),
    path("runs/<int:pk>/labels/", prints.labels, name="labels"),
    path("roasted/", stock.roasted, name="roasted"),
    path("roasted/<int:pk>/", stock.roasted_batch, name="roasted-batch"),
    path("roasted/<int:pk>/enter/", stock.enter_roasted, name="enter-roasted"),
    path("bags/", stock.shelf, name="shelf"),
    path("bags/<int:pk>/", stock.bags, name="bags"),
    path("bags/<int:pk>/enter/", stock.enter_bags, name="enter-bags"),
    path("dispatches/", stock.dispatches, name="dispatches"),
    path("dispatches/add/", stock.send, name="send"),
    path("dispatches/<int:pk>/", stock.dispatch, name="dispatch"),
    path("dispatches/<int:pk>/void/", stock.void_dispatch, name="void-dispatch"),
    path("dispatches/<int:pk>/note/", prints.note, name="note"),
    path("dispatches/lines/<int:pk>/return/", stock.give_back, name="return"),
    path("trace/", tracing.find, name="find"),
    path("trace/<str:kind>/<int:pk>/", tracing.trace, name="trace"),
    path("trace/<str:kind>/<int:pk>/hold/", tracing.hold_all, name="hold-all"),
    path("trace/<str:kind>/<int:pk>/report.pdf", tracing.pdf, name="trace-pdf"),
    path("trace/<str:kind>/<int:pk>/report/", tracing.table, name="trace-table"),
    path("trace/<str:kind>/<int:pk>/epcis/", tracing.epcis, name="trace-epcis"),
    path("sizes/", setup.sizes, name="sizes"),
    path("sizes/add/", setup.add_size, name="add-size"),
    path("sizes/<int:pk>/", setup.change_size, name="change-size"),
    path("sizes/<int:pk>/put-away/", setup.archive_size, name="archive-size"),
    path("rules/", setup.rules, name="rules"),
    *door_urls(*DOORS),
]
