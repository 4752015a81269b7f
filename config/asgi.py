"""Web entry: see `config.web.serving`."""

from config.wsgi import application as pages_and_api  # sets Django up, so it comes first

from config.web.serving import WebApplication  # isort: skip

application = WebApplication(pages_and_api)
