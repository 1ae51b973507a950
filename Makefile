# Thin: every recipe is one call of worksprog/bootstrap, which needs nothing but Python.
PYTHON ?= python3
PORT ?= 8000
BOOTSTRAP = $(PYTHON) -m worksprog.bootstrap
export PORT

.DEFAULT_GOAL := help
.PHONY: help set-up demo demo-fresh test lint checks bench tour vendor lock

help:        ## What can be made
	@grep -hE '^[a-z-]+: +##' $(MAKEFILE_LIST) | sed 's/: *##/ -/'

set-up:      ## Install everything the demo needs, start nothing
	@$(BOOTSTRAP) set-up

demo:        ## Set up, build the demonstration club, serve it (PORT=8000)
	@$(BOOTSTRAP) demo

demo-fresh:  ## As demo, with its data thrown away first
	@$(BOOTSTRAP) demo-fresh

test:        ## Lint, types, floors and every test, on SQLite, PostgreSQL and Redis
	@$(BOOTSTRAP) test

lint:        ## Lint, types and floors only
	@$(BOOTSTRAP) lint

checks:      ## The outside checks and their table
	@$(BOOTSTRAP) checks

bench:       ## The measured figures
	@$(BOOTSTRAP) bench

tour:        ## The README's pictures, taken anew from the demonstration club
	@$(BOOTSTRAP) tour

vendor:      ## Fonts, map and chart libraries into static/vendor
	@$(BOOTSTRAP) vendor

lock:        ## Write the lock files anew
	@$(BOOTSTRAP) lock
