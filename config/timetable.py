"""The Celery application of the timetable, which sends jobs by their names.

It finds no tasks, since they bring in what the jobs need, NumPy and SciPy among others: twice the processor time of the
start, and 70 MB more memory.
"""

from celery import Celery

app = Celery("leafspan", set_as_current=False)
app.config_from_object("django.conf:settings", namespace="CELERY")
