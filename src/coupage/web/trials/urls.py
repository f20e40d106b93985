from django.urls import path

from coupage.web.trials.views import blends, plans

app_name = "trials"

urlpatterns = [
    path("", plans.index, name="index"),
    path("blends/", plans.download_all, name="download-all"),
    path("add/", plans.add, name="add"),
    path("<int:pk>/", plans.plan, name="plan"),
    path("<int:pk>/blends/", plans.download, name="download"),
    path("<int:pk>/change/", plans.change, name="change"),
    path("<int:pk>/choose-again/", plans.choose_again, name="choose-again"),
    path("<int:pk>/put-away/", plans.put_away, name="put-away"),
    path("<int:pk>/send/", plans.send, name="send"),
    path("<int:pk>/weighing/", plans.weighing, name="weighing"),
    path("<int:pk>/samples/add/", blends.add_trial, name="add-trial"),
    path("<int:pk>/samples/<int:number>/", blends.trial, name="trial"),
    path("<int:pk>/samples/<int:number>/leave-out/", blends.leave_out, name="leave-out"),
    path("<int:pk>/samples/<int:number>/put-back/", blends.put_back, name="put-back"),
]
