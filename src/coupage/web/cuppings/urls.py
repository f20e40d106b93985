from django.urls import path

from coupage.web.cuppings.tables import DOORS
from coupage.web.cuppings.views import lists, misfits, prints, rating, results, setup, tables
from coupage.web.people.doors import door_urls

app_name = "cuppings"

urlpatterns = [
    path("", tables.index, name="index"),
    path("add/", tables.add, name="add"),
    path("<int:pk>/", tables.cupping, name="cupping"),
    path("<int:pk>/change/", tables.change, name="change"),
    path("<int:pk>/open/", tables.open_table, name="open"),
    path("<int:pk>/reveal/", tables.reveal, name="reveal"),
    path("<int:pk>/reopen/", tables.reopen, name="reopen"),
    path("<int:pk>/void/", tables.void, name="void"),
    path("<int:pk>/samples/batch/", setup.pour_one_batch, name="pour-batch"),
    path("<int:pk>/samples/known/", setup.pour_known, name="pour-sample"),
    path("<int:pk>/samples/trial/", setup.trial, name="pour-trial"),
    path("<int:pk>/samples/<int:sample>/take-off/", setup.take_off, name="take-off"),
    path("<int:pk>/tasters/add/", setup.add_taster, name="add-seat"),
    path("<int:pk>/labels/", prints.labels, name="labels"),
    path("<int:pk>/key/", prints.key, name="key"),
    path("<int:pk>/weighing/", prints.weighing, name="weighing"),
    path("<int:pk>/paper/", prints.paper, name="paper"),
    path("seats/<int:pk>/remove/", setup.remove_taster, name="remove-seat"),
    path("seats/<int:pk>/sheet/", rating.sheet, name="sheet"),
    path("seats/<int:pk>/cups/<slug:cup>/ratings/", rating.save_ratings, name="save-ratings"),
    path("seats/<int:pk>/cups/<slug:cup>/words/", rating.save_words, name="save-words"),
    path("seats/<int:pk>/finish/", rating.finish, name="finish"),
    path("<int:pk>/misfits/", misfits.of_table, name="misfits"),
    path("misfits/", misfits.of_all, name="all-misfits"),
    path("ratings/<int:pk>/mend/", misfits.mend, name="mend"),
    path("mends/<int:pk>/undo/", misfits.undo, name="undo-mend"),
    path("seats/<int:pk>/exchange/<int:first>/<int:second>/", misfits.exchange, name="exchange"),
    path("spread/", results.spread, name="spread"),
    path("steadiness/", results.steadiness, name="steadiness"),
    path("samples/", lists.samples, name="samples"),
    path("samples/<int:pk>/put-away/", lists.archive_sample, name="archive-sample"),
    path("attributes/", lists.attributes, name="attributes"),
    path("attributes/add/", lists.add_attribute, name="add-attribute"),
    path("attributes/<int:pk>/change/", lists.change_attribute, name="change-attribute"),
    path("attributes/<int:pk>/put-away/", lists.archive_attribute, name="archive-attribute"),
    path("protocols/", lists.protocols, name="protocols"),
    path("protocols/add/", lists.add_protocol, name="add-protocol"),
    path("protocols/<int:pk>/change/", lists.change_protocol, name="change-protocol"),
    path("protocols/<int:pk>/put-away/", lists.archive_protocol, name="archive-protocol"),
    path("tasters/", lists.tasters, name="tasters"),
    path("tasters/add/", lists.add_taster, name="add-taster"),
    path("tasters/<int:pk>/change/", lists.change_taster, name="change-taster"),
    path("tasters/<int:pk>/put-away/", lists.archive_taster, name="archive-taster"),
    *door_urls(*DOORS),
]
