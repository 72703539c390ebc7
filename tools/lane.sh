#!/usr/bin/env bash
# Runs pytest in an environment of its own: tools/lane.sh RESOLUTION PYTHON [PYTEST ARGUMENTS]
# RESOLUTION is "lowest-direct" (every bound of pyproject.toml as declared) or "highest".
set -euo pipefail
cd "$(dirname "$0")/.."
resolution=$1 version=$2
shift 2

for bin in "$HOME"/.pyenv/versions/"$version".*/bin; do
  [ -d "$bin" ] && PATH="$bin:$PATH"
done
if ! "python$version" --version >/dev/null 2>&1; then
  echo "lane $resolution, Python $version: skipped, there is no python$version here"
  [ "$version" != 3.11 ] # the oldest version served must be there
  exit
fi

env=build/lanes/$resolution-$version
started=$SECONDS
uv venv --quiet --clear --python "$(command -v "python$version")" "$env"
uv pip install --quiet --compile-bytecode --python "$env" --resolution "$resolution" -e '.[test]'
echo "lane $resolution, $("$env/bin/python" --version): installed in $((SECONDS - started)) s"
"$env/bin/python" -m pytest "$@"
