# Witness Mark: `make demo` and `make test` need only Python 3.11 or newer, git and make.
.PHONY: setup demo verify test check format lint types imports fast bench bench-packets coverage lock uv
export WM_MODE ?= test
export WM_INSECURE_HTTP ?= true
PY = .venv/bin/python
UV = PATH="$$PATH:.venv/bin" uv
DEMO = WM_MODE=demo WM_DATA_DIR=$(CURDIR)/.demo WM_DEMO_CLOCK_FILE=$(CURDIR)/.demo/clock WM_INSECURE_HTTP=true WM_LOG_LEVEL=WARNING

setup:
	@sh .ci/setup

# Plays one windshield job through the HTTP API and leaves the site running; ONCE=1 stops after it.
demo: setup
	@$(DEMO) $(PY) manage.py demo $(if $(ONCE),--once) $(if $(PORT),--port $(PORT))

# Checks a packet on its own: make verify FILE=packet.pdf
verify: setup
	@$(PY) manage.py verify_packet --alone "$(FILE)"

# Everything: style, and every test, real servers and browser included where they are to be had.
test: setup format lint types imports
	@WM_MODE=test $(PY) -m pytest -n 2 --dist loadfile

# Before each commit.
check: setup format lint types imports fast

format:
	@$(PY) -m ruff format --check --quiet .
lint:
	@$(PY) -m ruff check --quiet .
types:
	@$(PY) -m mypy
imports:
	@.venv/bin/lint-imports --no-timings 2>/dev/null || .venv/bin/lint-imports
fast:
	@WM_MODE=test $(PY) -m pytest -n 2 --dist loadfile -q -m "not slow"

# Timings of the judgement against floors and general rule engines; these come into .venv for it.
bench: uv
	@$(UV) pip install --quiet --python $(PY) --group bench
	@$(PY) -m tests.bench.judgement

# Timings of a packet's rendering beside other PDF libraries, in one run, told as ratios.
bench-packets: uv
	@$(UV) pip install --quiet --python $(PY) --group bench
	@$(PY) -m tests.bench.packets

# Which branches of rules/ its own tests take; coverage comes into .venv for it.
coverage: uv
	@$(UV) pip install --quiet --python $(PY) coverage
	@WM_MODE=test $(PY) -m coverage run --data-file=.test-artifacts/coverage --branch --source=rules -m pytest -q tests/rules
	@$(PY) -m coverage report --data-file=.test-artifacts/coverage --sort=cover --fail-under=95

uv: setup
	@PATH="$$PATH:.venv/bin" command -v uv >/dev/null || $(PY) -m pip install --quiet --disable-pip-version-check uv

# Writes requirements.lock anew: names, versions and hashes, no addresses.
lock: uv
	$(UV) pip compile pyproject.toml --group dev --universal --python-version 3.11 --generate-hashes \
	  --no-annotate --no-header --no-emit-index-url --no-emit-find-links -o requirements.lock
