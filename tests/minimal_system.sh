#!/usr/bin/env bash
# Prove the README's two commands on a Debian that has only git and python3. Needs root and the
# Debian package debootstrap; about 2 GB under FARHEAR_MINIMAL (default /tmp/farhear-minimal).
#   tests/minimal_system.sh [commit]     default HEAD: only committed files take part
# Package sources, certificates and pip's environment are those of this machine.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
commit=$(git rev-parse --verify "${1:-HEAD}^{commit}")
base=${FARHEAR_MINIMAL:-/tmp/farhear-minimal}
suite=${FARHEAR_MINIMAL_SUITE:-bookworm}
image=$base/$suite.tar
root=$base/$suite
mapfile -t commands < <(sed -n '/^```sh$/,/^```$/p' README.md | grep '^bash ' | head -n 2)
((${#commands[@]} == 2)) || { echo "README.md does not show two commands" >&2; exit 1; }

unmount() {
    local inner
    for inner in "$root/proc" "$root/dev/pts" "$root/dev"; do
        if mountpoint -q "$inner"; then umount "$inner"; fi
    done
}
trap unmount EXIT
mkdir -p "$base"
if [[ ! -e $image ]]; then
    debootstrap --variant=minbase --include=git,python3,ca-certificates "$suite" "$base/new" >&2
    tar -C "$base/new" -cf "$image" .
    rm -rf --one-file-system "$base/new"
fi
settings=(HOME=/root PATH=/usr/sbin:/usr/bin:/sbin:/bin LANG=C.UTF-8)
while IFS= read -r setting; do settings+=("$setting"); done \
    < <(env | grep -E '^(PIP_(CERT|DEFAULT_TIMEOUT|INDEX_URL)|SSL_CERT_(FILE|DIR)|https?_proxy|no_proxy)=')

for command in "${commands[@]}"; do # each from the bare system: it must be complete by itself
    unmount
    rm -rf --one-file-system "$root"
    mkdir "$root"
    tar -C "$root" -xf "$image"
    if [[ -d /usr/local/share/ca-certificates ]]; then
        cp -r /usr/local/share/ca-certificates "$root/usr/local/share/"
        chroot "$root" update-ca-certificates >/dev/null 2>&1
    fi
    cp /etc/resolv.conf "$root/etc/resolv.conf"
    mount -t proc proc "$root/proc"
    mount --bind /dev "$root/dev"
    mount --bind /dev/pts "$root/dev/pts"
    git clone -q --no-hardlinks . "$root/farhear-checkout"
    git -C "$root/farhear-checkout" checkout -q "$commit"
    echo "== on a bare $suite: $command"
    begin=$SECONDS
    env -i "${settings[@]}" chroot "$root" bash -c 'cd /farhear-checkout && eval "$1"' - "$command"
    echo "== took $((SECONDS - begin)) s"
done
