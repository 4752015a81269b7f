"""The web server's event loop: connections, bodies and answers, and whose request gets a thread of Django's next."""
