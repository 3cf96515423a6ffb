#!/bin/sh
# Runs each version's board-Q image in QEMU: it must say its version, refuse to heat without settings, and fire a
# programme to its end on the simulated kiln. The first two words of the image are put at address 0, where the emulated
# core looks for them at reset; on a unit an installer is there.
set -eu
: "${QEMU:=qemu-system-arm}" "${WORK:=../out/firmware}"

if ! command -v "$QEMU" >/dev/null; then
    echo "check-emulated: $QEMU is not here; install it with: apt-get install qemu-system-arm" >&2
    exit 1
fi

say='start 1;factory;version;set unit c;step 6 1 300 200 10;steps 6 1;start 6'
failed=0
for version in "$@"; do
    folder="$WORK/q/$version"
    head -c 8 "$folder/kc4-q.bin" >"$folder/first-words.bin"
    if ! timeout 120 "$QEMU" -M mps2-an386 -nographic -monitor none -serial none \
        -semihosting-config "enable=on,target=native,arg=$say" \
        -device "loader,file=$folder/kc4-q.elf" \
        -device "loader,file=$folder/first-words.bin,addr=0,force-raw=on" >"$folder/said.txt" 2>&1; then
        echo "check-emulated: $version did not come to its end; it said:" >&2
        cat "$folder/said.txt" >&2
        failed=1
    fi
    tr -d '\r' <"$folder/said.txt" >"$folder/said-lines.txt"
    for line in "KC-4 kiln controller $version board Q" "settings none: 'factory' makes new ones" \
        "factory settings saved" "firing DRY OUT" "state hold step 1" "state done"; do
        if ! grep -qxF "$line" "$folder/said-lines.txt"; then
            echo "check-emulated: $version never said: $line" >&2
            failed=1
        fi
    done
    if ! grep -q '^no: it is firing, in fault' "$folder/said-lines.txt"; then
        echo "check-emulated: $version did not refuse to heat without settings" >&2
        failed=1
    fi
    if [ "$failed" = 0 ]; then
        echo "KC-4 $version: emulated firing done"
    else
        cat "$folder/said-lines.txt" >&2
        exit 1
    fi
done
