

app_name = "cuppings"

urlpatterns: list[object] = []
