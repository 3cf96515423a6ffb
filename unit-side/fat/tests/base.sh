#!/bin/bash
# What the scripts that make sticks share: `cases.sh` here, and `sticks.sh` of the crate that examines sticks. Both give FOLDER and CASE.
set -euo pipefail
export MTOOLS_SKIP_CHECK=1 LC_ALL=C PATH="$PATH:/usr/sbin:/sbin"
folder=$1 case=$2
image=$folder/$case.img update=$folder/KC4.UPD scrap=$folder/$case.scrap
mkdir -p "$scrap"
trap 'rm -rf "$scrap"' EXIT
echo "firing notes" > "$scrap/NOTES.TXT"

blank() { truncate -s "$1" "$image"; }
poke() { # OFFSET HEXBYTES
    printf "$(sed 's/../\\x&/g' <<< "$2")" | dd of="$image" bs=1 seek="$(($1))" conv=notrunc status=none
}
copy() { # [START BLOCK] FILES...
    local at=0
    if [[ $1 =~ ^[0-9]+$ ]]; then at=$1; shift; fi
    mcopy -o -i "$image@@$((at * 512))" "$@" ::
}
table() { printf 'label: dos\n%b' "$1" | sfdisk -q "$image"; }
format_at() { # START BLOCKS OPTIONS...
    mkfs.fat -a --offset "$1" -h "$1" "${@:3}" "$image" $(($2 / 2)) > "$scrap/log" 2>&1
}

# Two base volumes without a table. The places used below:
#   small (FAT16): reserved 1, FATs of 32 sectors at 512 and 16896, root at 33280, clusters of 2048 bytes from 49664.
#   large (FAT32): reserved 32, FATs at 16384 and 338944, clusters of 512 bytes from 661504, the root in cluster 2.
# In both, NOTES.TXT comes first, then the update. In the small one NOTES.TXT has cluster 2 and the update 3 to 51.
small() {
    blank 16M
    mkfs.fat -F 16 -s 4 -r 512 -R 1 -a -n KILN "$image" > "$scrap/log"
    copy "$scrap/NOTES.TXT" "$update"
}
large() {
    blank 40M
    mkfs.fat -F 32 -s 1 -R 32 -a -n KILN "$image" > "$scrap/log"
    copy "$scrap/NOTES.TXT" "$update"
}
usual() {
    blank 48M
    table 'start=2048, size=92160, type=c\n'
    format_at 2048 92160 -F 32 -s 1
    copy 2048 "$update"
}
small_link() { poke "512 + 2 * $1" "$2"; poke "16896 + 2 * $1" "$2"; }
large_link() { poke "16384 + 4 * $1" "$2"; poke "338944 + 4 * $1" "$2"; }
without_update() { mdel -i "$image" ::KC4.UPD; }
