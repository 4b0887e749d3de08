#!/bin/sh
# bring.sh PACKAGE PROGRAM: make sure a Debian package is there, installing it when we may.
# As another user than root it prints the one line to run and fails.
set -eu
package=$1
program=$2

command -v "$program" >/dev/null 2>&1 && exit 0
for found in /usr/lib/postgresql/*/bin/"$program"; do
  [ -x "$found" ] && exit 0
done

if [ "$(id -u)" -ne 0 ] || ! command -v apt-get >/dev/null 2>&1; then
  echo "The tests need $program, which is not on this machine. Run this once, then try again:" >&2
  echo "  sudo apt-get update && sudo apt-get install --yes --no-install-recommends $package" >&2
  exit 1
fi

if [ "$package" = postgresql ] && [ ! -e /etc/postgresql-common/createcluster.conf ]; then
  # The tests start their own throw-away cluster; no server should be left running here
  mkdir -p /etc/postgresql-common
  echo "create_main_cluster = false" > /etc/postgresql-common/createcluster.conf
fi
export DEBIAN_FRONTEND=noninteractive
echo "bringing $package from Debian"
apt-get update -qq
apt-get install -qq --yes --no-install-recommends "$package" >/dev/null
