app_name = "blends"

urlpatterns: list[object] = []
