# Stands in for `tussock refresh OLD AREA ... --outcome FILE` in a test: leaves an outcome in no time.
# OLD is a text file: "broken" in it makes it fail with a sentence, any other text is the number of changes an hour.
# A line in the file `ran` beside OLD tells each time that it ran.
old=$1 area=$2
for outcome in "$@"; do :; done
[ -d "$(dirname "$old")" ] && echo ran >> "$(dirname "$old")/ran"
echo drafting >&2
[ -f "$area" ] || { echo "tussock: $area: there is no such file" >&2; exit 2; }
grep -q missing.laz "$area" && { echo "tussock: missing.laz: there is no such tile" >&2; exit 2; }
grep -q broken "$old" && { echo "tussock: $old: holds no symbols" >&2; exit 2; }
printf '{"unchanged": 40, "new": 3, "places": 3, "verified_unchanged": 0.75, "changes_per_h": %s}' "$(cat "$old")" > "$outcome"
