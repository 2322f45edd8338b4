/* SPDX-License-Identifier: Apache-2.0 */
/* Is it sound? (J10) A line a finding, then a verdict; and whether two of one bus went apart. */
#include <getopt.h>
#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "verify_internal.h"

struct verifying {
	struct pw_source *source;
	const char *name;
	const struct pw_public_key *given; /* NULL: no --key */
	struct pw_public_key key;
	struct pw_check check;
	uint64_t findings, first;          /* first: the smallest seq of one; 0: none has a seq */
	char judged[PW_PATH_MAX + 300];    /* what the witnesses beside a journal say */
	int judgement;
};

/* -- findings ---------------------------------------------------------------------------------- */

__attribute__((format(printf, 2, 3)))
static void say(struct verifying *v, const char *format, ...)
{
	va_list args;

	v->findings++;
	printf("%s: ", v->name);
	va_start(args, format);
	vprintf(format, args);
	va_end(args);
	putchar('\n');
}

static void take_finding(void *ctx, const struct pw_found *f)
{
	struct verifying *v = ctx;

	if (f->seq == 0) {
		say(v, "%s", f->words);
		return;
	}
	say(v, "seq %" PRIu64 ": %s", f->seq, f->words);
	if (v->first == 0 || f->seq < v->first)
		v->first = f->seq;
}

/* The record room begins its sentences with the journal's path. */
static const char *without_name(const struct verifying *v, const char *why)
{
	size_t n = strlen(v->name);

	return strncmp(why, v->name, n) == 0 && strncmp(why + n, ": ", 2) == 0 ? why + n + 2 : why;
}

/* -- the key ----------------------------------------------------------------------------------- */

static bool same_key(const struct pw_public_key *a, const struct pw_public_key *b)
{
	return memcmp(a->bytes, b->bytes, sizeof(a->bytes)) == 0;
}

/* A key that comes with a file proves nothing; but where it is not the one given, it was swapped. */
static void compare_keys(struct verifying *v)
{
	bool export = pw_source_journal(v->source) == NULL;
	struct pw_public_key own;
	char why[PW_PATH_MAX + 100], hex[65];
	int got;

	if (!export && !pw_source_dir(v->source))
		return;
	got = pw_source_key(v->source, &own, why, sizeof(why));
	if (got == -2)
		say(v, "%s", without_name(v, why));
	if (got < 0 || same_key(&own, v->given))
		return;
	pw_public_key_print(&own, hex);
	say(v, "the key %s is %.12s..., not the one given",
	    export ? "in it" : "beside it (bus.pub)", hex);
}

static int find_key(struct verifying *v)
{
	char why[PW_PATH_MAX + 100];

	if (v->given) {
		v->key = *v->given;
		compare_keys(v);
		return 0;
	}
	if (pw_source_key(v->source, &v->key, why, sizeof(why)) == 0)
		return 0;
	fprintf(stderr, "%s (seals are checked by the bus's public key: bus.pub beside the journal,"
		" or --key PUB)\n", why);
	return -1;
}

/* -- one file ---------------------------------------------------------------------------------- */

/* Right behind the opening: a live journal moves on. */
static int ask_witnesses(struct verifying *v)
{
	struct pw_journal *j = pw_source_journal(v->source);
	const char *dir = pw_source_dir(v->source);
	char why[PW_PATH_MAX + 300];
	int got;

	if (!j)
		return 0;
	v->judgement = pw_journal_judge(j, dir, &v->key, v->judged, sizeof(v->judged));
	got = v->judgement == -1 ? -1 : pw_journal_quick_check(j, why, sizeof(why));
	if (got == -2)
		say(v, "SQLite finds its file damaged: %s", without_name(v, why));
	if (got != -1)
		return 0;
	fprintf(stderr, "%s\n", v->judgement == -1 ? v->judged : why);
	return -1;
}

static int check_items(struct verifying *v, struct pw_branch *branch)
{
	const struct pw_public_key *office;
	const struct pw_seal *let_go;
	struct pw_source_item item;
	int got;

	pw_check_begin(&v->check, pw_source_bus(v->source), &v->key, take_finding, v);
	while ((got = pw_source_next(v->source, &item)) == 1) {
		let_go = v->check.records == 0 ? pw_source_purged(v->source, &office) : NULL;
		if (let_go)
			pw_check_purged(&v->check, let_go, office);
		if (item.kind == PW_ITEM_SEAL)
			pw_check_seal(&v->check, item.seal);
		else
			pw_check_record(&v->check, item.record);
		if (item.kind == PW_ITEM_RECORD && branch && pw_branch_add(branch, item.record)) {
			fprintf(stderr, "%s: no memory to compare it with the others\n", v->name);
			return -1;
		}
	}
	if (got == 0)
		pw_check_end(&v->check);
	return got;
}

static void say_what_remains(struct verifying *v)
{
	char why[200];

	if (!pw_source_journal(v->source)) {
		if (!pw_source_counts(v->source, why, sizeof(why)))
			say(v, "%s", why);
		return;
	}
	if (v->judgement == -2)
		say(v, "%s", without_name(v, v->judged));
	else if (v->judged[0])
		printf("%s: note: %s\n", v->name, without_name(v, v->judged));
}

static void say_key(const struct verifying *v)
{
	char hex[65];

	if (v->given)
		return;
	pw_public_key_print(&v->key, hex);
	printf("%s: its seals were checked by the key %s, which %s: that it is the bus's own key "
	       "is not shown by that; compare it with the fingerprint that the office keeps\n",
	       v->name, hex, pw_source_journal(v->source) ? "stands beside the journal"
							  : "came out of the export itself");
}

static void say_office(const struct verifying *v)
{
	const struct pw_public_key *office;
	const struct pw_seal *let_go = pw_source_purged(v->source, &office);
	char hex[65];

	if (!let_go || !v->check.purged)
		return;
	pw_public_key_print(office, hex);
	printf("%s: an office says that it let go what it had up to seq %" PRIu64 ", by its key %s: "
	       "compare that with the fingerprint of the office's key\n", v->name, let_go->seq, hex);
}

static void say_verdict(const struct verifying *v)
{
	const struct pw_check *c = &v->check;
	bool many = v->findings > 1;
	char hex[65];

	printf("%s: bus %s", v->name, pw_source_bus(v->source));
	if (c->records > 0)
		printf(", epoch %s", c->epoch);
	if (v->findings == 0)
		printf(": sound: ");
	else
		printf(": not sound: %" PRIu64 " finding%s", v->findings, many ? "s" : "");
	if (v->first > 0)
		printf(", %sat seq %" PRIu64, many ? "the first " : "", v->first);
	printf("%s%" PRIu64 " record%s", v->findings ? "; " : "", c->records,
	       c->records == 1 ? "" : "s");
	if (c->records > 0)
		printf(", seq %" PRIu64 " to %" PRIu64, c->first, c->seq);
	if (c->pruned || c->purged)
		printf(" (earlier ones were %s)", c->purged ? "purged by an office"
			: "dropped as kept long enough");
	pw_public_key_print(&v->key, hex);
	printf(", %" PRIu64 " seal%s; key %.12s... (%s)\n", c->seals, c->seals == 1 ? "" : "s", hex,
	       v->given ? "given by --key" : pw_source_journal(v->source) ? "beside the journal"
	       : "out of the export");
}

static int run(struct verifying *v, struct pw_branch *branch)
{
	if (find_key(v) || ask_witnesses(v) || check_items(v, branch))
		return PW_EXIT_BAD;
	say_what_remains(v);
	say_key(v);
	say_office(v);
	say_verdict(v);
	return v->findings ? PW_EXIT_NOT : PW_EXIT_OK;
}

static int verify(const char *given, const struct pw_public_key *key, struct pw_branch *branch)
{
	struct verifying v = { .given = key };
	int status;

	if (pw_source_open(given, &v.source))
		return PW_EXIT_BAD;
	v.name = pw_source_name(v.source);
	status = run(&v, branch);
	if (branch && status != PW_EXIT_BAD &&
	    pw_branch_name(branch, v.name, pw_source_bus(v.source), v.check.epoch))
		status = PW_EXIT_BAD;
	pw_source_close(v.source);
	return status;
}

/* -- the command ------------------------------------------------------------------------------- */

static int verify_all(char *const *given, int count, const struct pw_public_key *key)
{
	struct pw_branch *branch = calloc((size_t)count, sizeof(*branch));
	int status = PW_EXIT_OK;

	if (!branch) {
		fputs("postwalk verify: out of memory\n", stderr);
		return PW_EXIT_BAD;
	}
	for (int i = 0; i < count; i++) {
		int one = verify(given[i], key, count > 1 ? &branch[i] : NULL);

		status = one > status ? one : status;
		for (int k = 0; k < i && one != PW_EXIT_BAD; k++)
			if (pw_branch_compare(&branch[k], &branch[i]) && status == PW_EXIT_OK)
				status = PW_EXIT_NOT;
	}
	for (int i = 0; i < count; i++)
		pw_branch_free(&branch[i]);
	free(branch);
	return status;
}

static int usage(void)
{
	fputs("usage: postwalk verify [--key PUB] FILE|JOURNAL...\n"
	      "  FILE       what postwalk export wrote (-: standard input)\n"
	      "  JOURNAL    journal.db, or the state folder that it stands in: at rest, or a copy\n"
	      "  --key PUB  the bus's public key, as the office keeps it\n"
	      "exit status: 0 sound, 1 not sound, 2 could not check\n", stderr);
	return PW_EXIT_BAD;
}

int pw_verify(int argc, char **argv)
{
	static const struct option options[] = {
		{ "key", required_argument, NULL, 'k' },
		{ 0 },
	};
	struct pw_public_key key;
	bool given = false;
	char why[PW_PATH_MAX + 100];
	int c, status;

	while ((c = getopt_long(argc, argv, "", options, NULL)) != -1) {
		if (c != 'k')
			return usage();
		if (pw_public_key_load(optarg, &key, why, sizeof(why))) {
			fprintf(stderr, "%s\n", why);
			return PW_EXIT_BAD;
		}
		given = true;
	}
	if (optind == argc)
		return usage();
	status = verify_all(argv + optind, argc - optind, given ? &key : NULL);
	if (fflush(stdout) || ferror(stdout)) {
		fputs("postwalk verify: standard output cannot be written\n", stderr);
		return PW_EXIT_BAD;
	}
	return status;
}
