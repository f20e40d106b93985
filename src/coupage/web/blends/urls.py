from django.urls import path

from coupage.web.blends.tables import DOORS
from coupage.web.blends.views import bag, blends, briefs, compare, money, recipes, triangle
from coupage.web.people.doors import door_urls

app_name = "blends"

urlpatterns = [
    path("briefs/", briefs.briefs, name="briefs"),
    path("briefs/add/", briefs.add_brief, name="add-brief"),
    path("briefs/<int:pk>/", briefs.brief, name="brief"),
    path("briefs/<int:pk>/change/", briefs.change_brief, name="change-brief"),
    path("briefs/<int:pk>/put-away/", briefs.archive_brief, name="archive-brief"),
    path("briefs/<int:pk>/choose/", briefs.choose, name="choose"),
    path("briefs/<int:pk>/triangle/", triangle.triangle, name="triangle"),
    path("briefs/<int:pk>/triangle/figures/", triangle.triangle_figures, name="triangle-figures"),
    path("briefs/<int:pk>/take/", briefs.take_choice, name="take-choice"),
    path("blends/", blends.index, name="index"),
    path("blends/compare/", compare.compare, name="compare"),
    path("blends/prices/", money.money, name="money"),
    path("blends/add/", blends.add_blend, name="add-blend"),
    path("blends/<int:pk>/", blends.blend, name="blend"),
    path("blends/<int:pk>/change/", blends.change_blend, name="change-blend"),
    path("blends/<int:pk>/put-away/", blends.archive_blend, name="archive-blend"),
    path("blends/<int:pk>/recipes/add/", recipes.add_recipe, name="add-recipe"),
    path("blends/recipes/<int:pk>/", recipes.recipe, name="recipe"),
    path("blends/recipes/<int:pk>/change/", recipes.change_recipe, name="change-recipe"),
    path("blends/recipes/<int:pk>/approve/", recipes.approve, name="approve"),
    path("blends/recipes/<int:pk>/service/", recipes.put_in_service, name="put-in-service"),
    path("blends/recipes/<int:pk>/retire/", recipes.retire, name="retire"),
    path("blends/recipes/<int:pk>/weighing/", recipes.weighing, name="weighing"),
    path("blends/recipes/<int:pk>/card/", bag.card, name="card"),
    path("blends/recipes/<int:pk>/card/change/", bag.change_card, name="change-card"),
    path("blends/<int:pk>/promise/", bag.promise, name="promise"),
    path("blends/recipes/<int:pk>/sample/", recipes.make_sample, name="make-sample"),
    *door_urls(*DOORS),
]
