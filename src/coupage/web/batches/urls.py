

app_name = "batches"

urlpatterns: list[object] = []
