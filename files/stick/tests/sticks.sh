#!/bin/bash
# Sticks as owners bring them, for the examiner. Every case of the unit's reader (unit-side/fat/tests/cases.sh) is one of these too; here
# are those that need real update files, other formats, or other places for the file.
#
# Usage: sticks.sh FOLDER CASE. Makes FOLDER/CASE.img; the update files are in FOLDER, made beforehand. What each is found to be stands
# in findings.rs.
tests=$(cd "$(dirname "$0")/../../../unit-side/fat/tests" && pwd)
source "$tests/base.sh"

# An update file from FOLDER under a name on the stick, in place of the one that the base volume has.
instead() { # FILE NAME [FOLDER ON THE STICK]
    without_update
    if [[ ${3:-} ]]; then mmd -i "$image" "::$3"; fi
    cp "$1" "$scrap/instead"
    mcopy -o -i "$image" "$scrap/instead" "::${3:+$3/}$2"
}
# The update with bytes changed.
changed() { # OFFSET HEXBYTES
    cp "$update" "$scrap/changed"
    printf "$(sed 's/../\\x&/g' <<< "$2")" | dd of="$scrap/changed" bs=1 seek="$(($1))" conv=notrunc status=none
}
write_at() { # BYTE, bytes on standard input
    dd of="$image" bs=1 seek="$(($1))" conv=notrunc status=none
}
python() { python3 - "$image" "$@"; }

case $case in
# Names and places.
browser-copy) large; instead "$update" "KC4 (1).UPD" ;;
twice) large; mcopy -o -i "$image" "$update" "::KC4 (1).UPD" ;;
ending-txt) large; instead "$update" KC4.UPD.txt ;;
ending-gone) large; instead "$update" KC4 ;;
in-a-deep-folder) large; without_update; mmd -i "$image" ::A ::A/B; mcopy -i "$image" "$update" ::A/B ;;
in-the-bin) large; without_update; mmd -i "$image" ::.Trash-1000 ::.Trash-1000/files; mcopy -i "$image" "$update" ::.Trash-1000/files ;;
hidden-attribute) large; mattrib -i "$image" +h ::KC4.UPD ;;
copy-in-a-folder) large; mmd -i "$image" ::OLD; mcopy -i "$image" "$update" ::OLD ;;
deleted-and-back) large; without_update; mcopy -i "$image" "$scrap/NOTES.TXT" ::X; copy "$update" ;;
many-names) # 600 files beside it
    large
    mkdir "$scrap/many"; for n in {1..600}; do : > "$scrap/many/N$n.TXT"; done
    copy "$scrap"/many/* ;;
computers-own)
    large; mmd -i "$image" "::System Volume Information" ::.fseventsd ::.Spotlight-V100
    mattrib -i "$image" +h +s "::System Volume Information" ;;
repaired) large; mmd -i "$image" ::FOUND.000; mcopy -i "$image" "$scrap/NOTES.TXT" ::FOUND.000/FILE0000.CHK ;;

# What was copied in place of the file.
zip) large; (cd "$folder" && zip -q "$scrap/k.zip" KC4.UPD); instead "$scrap/k.zip" K.ZIP ;;
zip-named-so) large; (cd "$folder" && zip -q "$scrap/k.zip" KC4.UPD); instead "$scrap/k.zip" KC4.UPD ;;
zip-of-notes) large; (cd "$scrap" && zip -q k.zip NOTES.TXT); copy "$scrap/k.zip" ;;
gzip) large; gzip -nc "$update" > "$scrap/gz"; instead "$scrap/gz" KC4.UPD ;;
web-page) large; printf '<!DOCTYPE html>\n<html><body>404</body></html>\n' > "$scrap/page"; instead "$scrap/page" KC4.UPD ;;
shortcut) large; printf '\x4c\0\0\0\x01\x14\x02\0%100s' > "$scrap/link"; instead "$scrap/link" KC4.UPD.lnk ;;
something-else) large; echo "this is a letter" > "$scrap/letter"; instead "$scrap/letter" KC4.UPD ;;
shadow-alone) large; printf '\0\5\26\7\0\2\0\0%4088s' > "$scrap/._KC4.UPD"; without_update; copy "$scrap/._KC4.UPD" ;;
unfinished) large; head -c 50000 "$update" > "$scrap/half"; instead "$scrap/half" KC4.UPD.crdownload ;;
hollow) large; head -c 98427 /dev/zero > "$scrap/zeros"; instead "$scrap/zeros" KC4.UPD ;;

# What became of the file.
truncated) large; head -c 60000 "$update" > "$scrap/half"; instead "$scrap/half" KC4.UPD ;;
truncated-early) large; head -c 300 "$update" > "$scrap/half"; instead "$scrap/half" KC4.UPD ;;
lengthened) large; cat "$update" "$scrap/NOTES.TXT" > "$scrap/more"; instead "$scrap/more" KC4.UPD ;;
damaged-payload) large; changed 70000 00112233445566; instead "$scrap/changed" KC4.UPD ;;
damaged-manifest) large; changed 300 ff; instead "$scrap/changed" KC4.UPD ;;
damaged-text) # a letter of the text
    large; at=$(grep -abo 'firing' "$update" | head -1 | cut -d: -f1); changed "$at" 46; instead "$scrap/changed" KC4.UPD ;;
damaged-start) large; changed 2 00; instead "$scrap/changed" KC4.UPD ;;
never-written) large; head -c 60000 "$update" > "$scrap/part"; truncate -s 98427 "$scrap/part"; instead "$scrap/part" KC4.UPD ;;

# Whole files that are not for the unit.
other-board) large; instead "$folder/BOARD-D.UPD" KC4.UPD ;;
both-boards) large; copy "$folder/BOARD-D.UPD" ;;
other-product) large; instead "$folder/PRODUCT.UPD" KC4.UPD ;;
other-maker) large; instead "$folder/MAKER.UPD" KC4.UPD ;;
other-keys) large; instead "$folder/KEYS.UPD" KC4.UPD ;;
below-floor) large; instead "$folder/OLD.UPD" KC4.UPD ;;
too-large) large; instead "$folder/LARGE.UPD" KC4.UPD ;;
not-signed) large; instead "$folder/FORGED.UPD" KC4.UPD ;;
other-board-in-a-folder) large; instead "$folder/BOARD-D.UPD" KC4.UPD NEW ;;
ten-files) large; for n in {1..9}; do mcopy -i "$image" "$folder/BOARD-D.UPD" "::D$n.UPD"; done ;;

# Other places than the first partition.
second-of-two) # two FAT volumes; the unit looks into the first
    blank 128M
    table 'start=2048, size=92160, type=c\nstart=96256, size=92160, type=c\n'
    format_at 2048 92160 -F 32 -s 1; format_at 96256 92160 -F 32 -s 1
    copy 96256 "$update" ;;
in-a-logical) # a second one inside an extended partition
    blank 128M
    table 'start=2048, size=92160, type=c\nstart=96256, size=98304, type=5\nstart=98304, size=92160, type=c\n'
    format_at 2048 92160 -F 32 -s 1; format_at 98304 92160 -F 32 -s 1
    copy 98304 "$update" ;;
gpt-with-efi) # as a Mac divides sticks above 2 GB
    blank 300M
    sgdisk -o -a 1 -n 1:40:409639 -t 1:EF00 -n 2:411648:612351 -t 2:0700 "$image" > "$scrap/log"
    format_at 40 409600 -F 32 -s 1; format_at 411648 200704 -F 32 -s 1
    copy 411648 "$update" ;;
gpt-one-copy) # the first copy of the table wiped
    blank 48M
    sgdisk -o -n 1:2048:94207 -t 1:0700 "$image" > "$scrap/log"
    format_at 2048 92160 -F 32 -s 1
    copy 2048 "$update"
    dd if=/dev/zero of="$image" bs=512 seek=1 count=33 conv=notrunc status=none ;;
gpt-on-a-larger-stick) # the last block of the stick is not that of the image
    blank 48M
    sgdisk -o -n 1:2048:94207 -t 1:0700 "$image" > "$scrap/log"
    format_at 2048 92160 -F 32 -s 1
    copy 2048 "$update"
    truncate -s 64M "$image" ;;
blocks-4096) # a stick with blocks of 4096 bytes
    blank 300M
    table 'start=256, size=76000, type=c\n'
    mkfs.fat -S 4096 -F 32 -s 1 -a --offset 256 -h 256 "$image" 304000 > "$scrap/log" 2>&1
    copy 2048 "$update" ;;
one-partition) # an image of the partition, not of the stick
    usual; dd if="$image" of="$scrap/part" bs=1M skip=1 status=none; mv "$scrap/part" "$image" ;;

# Formats that no tool here makes: their first fields, by hand.
hfs-plus) blank 32M; python << 'PYTHON'
import struct, sys
with open(sys.argv[1], "r+b") as stick:
    stick.seek(1024); stick.write(struct.pack(">2sHI4s", b"H+", 4, 0x100, b"10.0"))
    stick.seek(1024 + 40); stick.write(struct.pack(">II", 4096, (32 << 20) // 4096))
PYTHON
    ;;
apfs) blank 32M; python << 'PYTHON'
import struct, sys
block = bytearray(4096)
struct.pack_into("<QQII", block, 8, 1, 1, 0x80000001, 0)
struct.pack_into("<4sIQ", block, 32, b"NXSB", 4096, (32 << 20) // 4096)
first = second = 0
for (word,) in struct.iter_unpack("<I", bytes(block[8:])):
    first = (first + word) % 0xFFFFFFFF
    second = (second + first) % 0xFFFFFFFF
low = 0xFFFFFFFF - (first + second) % 0xFFFFFFFF
high = 0xFFFFFFFF - (first + low) % 0xFFFFFFFF
struct.pack_into("<II", block, 0, low, high)
open(sys.argv[1], "r+b").write(block)
PYTHON
    ;;
luks) blank 32M; printf 'LUKS\xba\xbe\0\x02' | write_at 0 ;;
bitlocker) small; printf -- '-FVE-FS-' | write_at 3 ;;
ext2) blank 32M; mke2fs -q -t ext2 "$image" ;;
packed-image) small; gzip -n "$image"; mv "$image.gz" "$image"; truncate -s %512 "$image" ;;
exfat-cut) blank 64M; mkfs.exfat "$image" > "$scrap/log"; truncate -s 32M "$image" ;;

# The state of the volume.
tables-differ) small; poke '16896 + 2 * 4000' ffff ;;
lost) small; for n in {5000..5004}; do small_link "$n" ffff; done ;;
worn) small; for n in {6000..6002}; do small_link "$n" f7ff; done ;;
repeats) # a stick of 16 MiB that says it has 64; the FAT is as long as such a stick needs
    blank 16M; mkfs.fat -F 16 -s 4 -R 1 -a "$image" > "$scrap/log"; cp "$image" "$scrap/16"
    blank 64M; mkfs.fat -F 16 -s 4 -R 1 -a "$image" > "$scrap/log"; copy "$update"
    head -c 16M "$image" > "$scrap/16"; cat "$scrap/16" "$scrap/16" "$scrap/16" "$scrap/16" > "$image" ;;
boot-sector-gone) # the copy in sector 6 is whole
    large; dd if=/dev/zero of="$image" bs=512 count=1 conv=notrunc status=none; poke 510 55aa; poke 0 eb5890 ;;
folder-loop) # a folder that is its own only entry
    large; mmd -i "$image" ::RING; mmd -i "$image" ::RING/RING
    python << 'PYTHON'
import sys
with open(sys.argv[1], "r+b") as stick:
    data = 661504
    stick.seek(data); root = stick.read(512)
    at = root.index(b"RING       ")
    cluster = int.from_bytes(root[at + 26:at + 28], "little")
    place = data + 512 * (cluster - 2)
    stick.seek(place); ring = bytearray(stick.read(512))
    inner = ring.index(b"RING       ")
    ring[inner + 26:inner + 28] = cluster.to_bytes(2, "little")
    stick.seek(place); stick.write(ring)
PYTHON
    ;;
*) exec bash "$tests/cases.sh" "$folder" "$case" ;;
esac
