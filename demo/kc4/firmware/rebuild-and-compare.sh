#!/bin/sh
# Builds everything again in a temporary folder and compares it with what is committed in built/, byte for byte.
# Exit 0: the same. Exit 1: it says what differs, or what is missing.
set -eu
here=$(cd "$(dirname "$0")" && pwd)

for tool in arm-none-eabi-gcc arm-none-eabi-objcopy make; do
    if ! command -v "$tool" >/dev/null; then
        echo "rebuild-and-compare: $tool is not here; install it with: apt-get install gcc-arm-none-eabi make" >&2
        exit 1
    fi
done

made_with=$(cat "$here/built/made-with.txt")
here_is=$(arm-none-eabi-gcc --version | head -n 1)
if [ "$made_with" != "$here_is" ]; then
    echo "rebuild-and-compare: built/ was made with: $made_with" >&2
    echo "rebuild-and-compare: this is:              $here_is" >&2
    echo "rebuild-and-compare: another compiler makes other bytes, so differences below may be its own." >&2
fi

folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cp -r "$here/src" "$here/link" "$here/Makefile" "$folder/"
if ! make -C "$folder" -s OUT=built WORK=objects all >"$folder/log.txt" 2>&1; then
    echo "rebuild-and-compare: the build failed:" >&2
    cat "$folder/log.txt" >&2
    exit 1
fi

list() {
    (cd "$1" && find . -type f -name 'kc4-*' | LC_ALL=C sort)
}

different=0
for file in $({ list "$here/built"; list "$folder/built"; } | LC_ALL=C sort -u); do
    if [ ! -f "$folder/built/$file" ]; then
        echo "built/${file#./}: committed, but no build makes it" >&2
    elif [ ! -f "$here/built/$file" ]; then
        echo "built/${file#./}: made by a build, but not committed" >&2
    elif ! cmp -s "$here/built/$file" "$folder/built/$file"; then
        echo "built/${file#./}: differs; $(cmp "$here/built/$file" "$folder/built/$file" 2>&1 | sed 's/.* differ: //')" >&2
    else
        continue
    fi
    different=1
done

if [ "$different" = 1 ]; then
    echo "rebuild-and-compare: not the same; if the sources were changed on purpose, run 'make' and commit built/" >&2
    exit 1
fi
echo "rebuild-and-compare: $(list "$here/built" | wc -l) files are the same, byte for byte"
