# SPDX-License-Identifier: Apache-2.0
# A gettext PO file as a C table of words, checked against the English.
#
#	awk -f po.awk words_en.h web/bus/po/es.po >po_es.c
#	awk -v language=es -v words=phrase -v first=P -f po.awk phrases/*.h web/office/po/es/*.po >po_es.c
#
# Every word of words_en.h has one entry: msgctxt is its name, msgid its English of today, msgstr
# the translation, with the same {1} and {2}. What is missing, stale, fuzzy, unknown or doubled is
# told on standard error as FILE:LINE, and the status is 1.

BEGIN {
	if (words == "")
		words = "word"
	if (first == "")
		first = "W"
}

function wrong(line, text)
{
	print FILENAME ":" line ": " text | "cat 1>&2"
	bad = 1
}

# The strings that s begins with, joined; RESTED is what follows them.
function joined(s,   out)
{
	out = ""
	while (match(s, /^[ \t]*"([^"\\]|\\.)*"/)) {
		out = out substr(s, index(s, "\"") + 1, RLENGTH - index(s, "\"") - 1)
		s = substr(s, RLENGTH + 1)
	}
	RESTED = s
	return out
}

# X(NAME, name, "text") or N(NAME, name, "one", "more"), without its bracket at the end.
function english(entry,   kind, part, name)
{
	kind = substr(entry, 1, 1)
	split(entry, part, /[(,] */)
	name = part[3]
	order[++count] = name
	upper[name] = part[2]
	entry = substr(entry, index(entry, "\""))
	one[name] = joined(entry)
	more[name] = ""
	if (kind == "N") {
		sub(/^, */, "", RESTED)
		more[name] = joined(RESTED)
	}
}

FNR == 1 { finish() }

FILENAME ~ /\.h$/ {
	sub(/\\$/, "")
	source = source $0
	while (match(source,
	    /[XN]\([A-Z0-9_]+, [a-z0-9_]+,[ \t]*("([^"\\]|\\.)*"[ \t]*)+(,[ \t]*("([^"\\]|\\.)*"[ \t]*)+)?\)/)) {
		entry = substr(source, RSTART, RLENGTH - 1)
		source = substr(source, RSTART + RLENGTH)
		english(entry)
	}
	next
}

# How often {1} and {2} stand in s.
function holes(s,   first)
{
	first = gsub(/\{1\}/, "", s)
	return first " " gsub(/\{2\}/, "", s) (index(s, "{") ? " and a stray {" : "")
}

function check_text(text, from)
{
	if (text == "")
		wrong(begun, "expected a translation of \"" ctxt "\"")
	else if (holes(text) != holes(from))
		wrong(begun, "expected {1} and {2} in \"" ctxt "\" as in its English: " from)
	else if (text ~ /\\[^"\\]/)
		wrong(begun, "expected no escapes but \\\" and \\\\ in \"" ctxt "\"")
}

function check_header()
{
	if (language == "") {
		language = FILENAME
		sub(/.*\//, "", language)
		sub(/\.po$/, "", language)
	}
	if (str0 !~ /charset=UTF-8\\n/ || index(str0, "Language: " language "\\n") == 0)
		wrong(begun, "expected a header with charset=UTF-8 and Language: " language)
}

function check_entry()
{
	if (!(ctxt in one)) {
		wrong(begun, "no word \"" ctxt "\" among the English ones")
		return
	}
	if (ctxt in seen)
		wrong(begun, "\"" ctxt "\" has been translated at line " seen[ctxt])
	seen[ctxt] = begun
	if (id != one[ctxt] || plural != more[ctxt])
		wrong(begun, "stale: the English of \"" ctxt "\" is now: " one[ctxt] \
		      (more[ctxt] == "" ? "" : " / " more[ctxt]))
	if (fuzzy)
		wrong(begun, "\"" ctxt "\" is fuzzy: expected a translation that somebody has looked at")
	check_text(str0, one[ctxt])
	if (more[ctxt] == "")
		str1 = str0
	else
		check_text(str1, more[ctxt])
	table = table "\t[PW_" first "_" upper[ctxt] "] = { \"" str0 "\", \"" str1 "\" },\n"
}

function finish()
{
	if (begun && !has_ctxt && id == "")
		check_header()
	else if (begun)
		check_entry()
	ctxt = id = plural = str0 = str1 = ""
	begun = has_ctxt = fuzzy = 0
	last = ""
}

function add(field, text)
{
	if (joined(text) == "" && text !~ /^[ \t]*""/ || RESTED !~ /^[ \t]*$/)
		wrong(FNR, "expected one string in quotes")
	text = joined(text)
	if (field == "ctxt") ctxt = ctxt text
	else if (field == "id") id = id text
	else if (field == "plural") plural = plural text
	else if (field == "0") str0 = str0 text
	else str1 = str1 text
	last = field
}

function begin(field, text)
{
	if (!begun)
		begun = FNR
	add(field, text)
}

/^[ \t]*$/ { finish(); next }
/^#/ && begun { finish() }
/^#,.*fuzzy/ { fuzzy = 1 }
/^#/ { next }
/^msgctxt / { if (begun) finish(); has_ctxt = 1; begin("ctxt", substr($0, 9)); next }
/^msgid_plural / { begin("plural", substr($0, 14)); next }
/^msgid / { begin("id", substr($0, 7)); next }
/^msgstr(\[0\])? / { begin("0", substr($0, index($0, " "))); next }
/^msgstr\[1\] / { begin("1", substr($0, index($0, " "))); next }
/^"/ && last != "" { add(last, $0); next }
{ wrong(FNR, "expected msgctxt, msgid, msgid_plural, msgstr, a string or a comment") }

END {
	finish()
	if (count == 0)
		wrong(1, "no English words were found")
	if (language == "")
		wrong(1, "expected a header with charset=UTF-8 and Language")
	for (i = 1; i <= count; i++)
		if (!(order[i] in seen))
			wrong(FNR, "no entry for \"" order[i] "\": " one[order[i]])
	if (bad)
		exit 1
	print "/* Made by po.awk. */\n#include \"" words "s.h\"\n"
	table_name = "const struct pw_" words "_text pw_" words "s_" language "[PW_" toupper(words) "S]"
	print "extern " table_name ";\n" table_name " = {"
	printf "\t[PW_%s_NONE] = { \"\", \"\" },\n%s};\n", first, table
}
