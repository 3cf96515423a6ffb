#!/bin/sh
# The settings tables in the README must be what the compiler says. With --write, puts them there.
set -eu
: "${WORK:=../out/firmware}"
write=no
if [ "$1" = --write ]; then
    write=yes
    shift
fi

for version in "$@"; do
    begin="<!-- settings $version: made by test/settings_table.c -->"
    end="<!-- end of settings $version -->"
    table="$WORK/host/$version/settings.md"
    "$WORK/host/$version/settings_table" >"$table"
    if [ "$write" = yes ]; then
        awk -v begin="$begin" -v end="$end" -v table="$table" '
            $0 == end { skip = 0 }
            !skip { print }
            $0 == begin { skip = 1; print ""; while ((getline line < table) > 0) print line; print "" }
        ' README.md >"$WORK/README.md"
        cp "$WORK/README.md" README.md
    fi
    awk -v begin="$begin" -v end="$end" '$0 == end { on = 0 } on { print } $0 == begin { on = 1 }' README.md |
        sed '1d;$d' >"$WORK/host/$version/settings-in-readme.md"
    if ! diff -u "$WORK/host/$version/settings-in-readme.md" "$table"; then
        echo "check-readme: README.md has another table for $version; run: make readme" >&2
        exit 1
    fi
done
echo "KC-4: settings tables in README.md are the compiler's"
