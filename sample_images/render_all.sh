#!/bin/sh
# Renders every sample photo again (about an hour on two cores). Needs the extra [render].
set -eu
cd "$(dirname "$0")/.."
python -m sample_images.scenes --set tune --count 88 --out sample_images/bench/tune --again
python -m sample_images.scenes --set report --count 128 --out sample_images/bench/report --again
python -m sample_images.scenes --spec sample_images/demo/scenes.toml --out sample_images/demo/photos --again
mv -f sample_images/demo/photos/*.truth.json sample_images/demo_truth/
python -m audit practice-photo --set sample_images/practice/set.toml --again
