# Leafspan. `make` alone lists what there is. Every target needs only Python 3.11 or later, make and git.
PYTHON ?= $(firstword $(shell for p in python3 python3.14 python3.13 python3.12 python3.11; do \
	$$p -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && echo $$p; done) python3)
IN_VENV = exec $(PYTHON) config/dev/venv.py dev

.PHONY: afternoon audit cluster convergence faults fuzz help mutation run study test
.DEFAULT_GOAL := help

help:  ## list the targets
	@sed -n 's/^\([a-z]*\):.*## /  make \1\t/p' Makefile
	@echo "Variables of make run: PORT (8000), LEAFSPAN_HOME (.leafspan), DEMO=0, DATABASE_URL, REDIS_URL"

afternoon:  ## three pots of eight infusions in Chromium without a network, then everything is on the server; about a minute
	@export LEAFSPAN_INFUSIONS=8 OMP_NUM_THREADS=1; $(IN_VENV) pytest -q tests/table/test_afternoon.py

audit:  ## look the locked packages up for known holes; needs a network, which the tests do not
	@test -x .audit/bin/pip-audit || { $(PYTHON) -m venv .audit && .audit/bin/pip install --quiet pip-audit; }
	@.audit/bin/pip-audit --strict --require-hashes --disable-pip --progress-spinner off -r config/requirements-dev.txt

cluster:  ## start Leafspan as on several machines: two web servers and workers without a common folder, replica, object store
	@$(IN_VENV) config.dev cluster

convergence:  ## play 2,000 new stories of offline phones against the server; about ten minutes (LEAFSPAN_STORIES, LEAFSPAN_SEED)
	@export LEAFSPAN_STORIES=$${LEAFSPAN_STORIES:-2000} OMP_NUM_THREADS=1; $(IN_VENV) pytest -q -s tests/sync/test_convergence.py

faults:  ## kill servers and workers 200 times under four phones and slow senders, then 50 times under the app in Chromium, and check every record; about nine minutes (LEAFSPAN_FAULTS, LEAFSPAN_SEED)
	@$(IN_VENV) tests.faults
	@$(IN_VENV) tests.faults.app

fuzz:  ## all examples and simulated lots of costly tests, and other ones than those of `make test`: send every operation of the API 60 made up requests that fit its document and 60 that do not; about six minutes (LEAFSPAN_FUZZ)
	@export LEAFSPAN_FUZZ=$${LEAFSPAN_FUZZ:-60} OMP_NUM_THREADS=1; $(IN_VENV) pytest -q tests/api/test_described.py tests/maths tests/lots tests/reading tests/published

mutation:  ## break merge, push, pull, reveal, row-level security and the posterior line by line and see whether tests notice; hours (tests/mutation)
	@OMP_NUM_THREADS=1 $(IN_VENV) tests.mutation

run:  ## start everything in the foreground: database, broker, web, worker, timetable, demo data
	@exec $(PYTHON) config/dev/venv.py run config.dev run

study:  ## simulate tastings and compare what is computed with the truth: curves, labels and counts (writes docs/study.md), then answers to a buyer's questions; about fifty minutes
	@OMP_NUM_THREADS=1 $(IN_VENV) benchmarks.study
	@OMP_NUM_THREADS=1 $(IN_VENV) benchmarks.calibration

test:  ## tests on all cores; lint, types and import contracts beside them
	@$(IN_VENV) config.dev test
