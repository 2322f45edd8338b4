/* SPDX-License-Identifier: Apache-2.0 */
/* A journal as JSON Lines (J10), written as it is read: what breaks off has no end line. */
#include <getopt.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "source_internal.h"

struct exporting {
	struct pw_source *source;
	uint64_t records, seals;
	char line[PW_EXPORT_LINE_MAX];
};

static int fail(const struct exporting *e, const char *words)
{
	fprintf(stderr, "%s: %s\n", pw_source_name(e->source), words);
	return -1;
}

static int put(struct exporting *e, int length)
{
	if (length < 0)
		return fail(e, "its bus does not fit an export");
	e->line[length] = '\n';
	if (fwrite(e->line, 1, (size_t)length + 1, stdout) == (size_t)length + 1)
		return 0;
	fputs("postwalk export: standard output cannot be written\n", stderr);
	return -1;
}

static int put_item(struct exporting *e, const struct pw_source_item *item)
{
	bool record = item->kind == PW_ITEM_RECORD;
	int length = record ? pw_export_record(item->record, e->line, sizeof(e->line))
			    : pw_export_seal(item->seal, e->line, sizeof(e->line));

	if (length < 0) {
		fprintf(stderr, "%s: seq %" PRIu64 ": expected a %s that an export can hold "
			"unaltered\n", pw_source_name(e->source),
			record ? item->record->seq : item->seal->seq, record ? "record" : "seal");
		return -1;
	}
	e->records += record;
	e->seals += !record;
	return put(e, length);
}

/* All before the end line is out before it says so. */
static int put_end(struct exporting *e)
{
	if (fflush(stdout)) {
		fputs("postwalk export: standard output cannot be written\n", stderr);
		return -1;
	}
	if (put(e, pw_export_end(e->records, e->seals, e->line, sizeof(e->line))))
		return -1;
	if (fflush(stdout) == 0)
		return 0;
	fputs("postwalk export: standard output cannot be written\n", stderr);
	return -1;
}

static int find_key(const struct exporting *e, const char *path, struct pw_public_key *key)
{
	char why[PW_PATH_MAX + 100];

	if (path ? pw_public_key_load(path, key, why, sizeof(why))
		 : pw_source_key(e->source, key, why, sizeof(why))) {
		fprintf(stderr, "%s%s\n", why, path ? "" : " (an export needs the bus's public "
			"key: bus.pub beside the journal, or --key PUB)");
		return -1;
	}
	return 0;
}

static int run(struct exporting *e, const char *key_path)
{
	const char *bus = pw_source_bus(e->source);
	struct pw_public_key key;
	struct pw_source_item item;
	int got;

	if (!pw_source_journal(e->source))
		return fail(e, "expected a journal; this is an export already");
	if (find_key(e, key_path, &key) ||
	    put(e, pw_export_head(bus, &key, e->line, sizeof(e->line))))
		return -1;
	while ((got = pw_source_next(e->source, &item)) == 1)
		if (put_item(e, &item))
			return -1;
	return got == 0 ? put_end(e) : -1;
}

static int usage(void)
{
	fputs("usage: postwalk export [--key PUB] JOURNAL\n"
	      "  JOURNAL    journal.db, or the state folder that it stands in: at rest, or a copy\n"
	      "  --key PUB  the bus's public key (else bus.pub beside the journal)\n", stderr);
	return PW_EXIT_BAD;
}

int pw_export(int argc, char **argv)
{
	static const struct option options[] = {
		{ "key", required_argument, NULL, 'k' },
		{ 0 },
	};
	struct exporting e = { .source = NULL };
	const char *key = NULL;
	int c, result;

	while ((c = getopt_long(argc, argv, "", options, NULL)) != -1) {
		if (c != 'k')
			return usage();
		key = optarg;
	}
	if (optind != argc - 1)
		return usage();
	if (pw_source_open(argv[optind], &e.source))
		return PW_EXIT_BAD;
	result = run(&e, key);
	pw_source_close(e.source);
	return result ? PW_EXIT_BAD : PW_EXIT_OK;
}
