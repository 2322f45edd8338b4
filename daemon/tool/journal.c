/* SPDX-License-Identifier: Apache-2.0 */
/* What happened, a line a record. */
#include <errno.h>
#include <getopt.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "journal_internal.h"

struct wish {
	bool since, story;
	int64_t since_ms;
	uint32_t kinds; /* bit k: kind k */
	uint64_t sweep;
};

_Static_assert(PW_KINDS <= 32, "kinds fit a mask");

/* -- lines ------------------------------------------------------------------------------------- */

static void say_line(const struct pw_record *r, uint8_t inputs)
{
	struct pw_saying o = { .near_ms = r->wall_ms };

	pw_put_when(&o, r->wall_ms);
	pw_put(&o, "  %6" PRIu64 "  %-7s  ", r->seq, pw_kind_name(r->kind));
	if (!r->wall_ok)
		pw_put(&o, "(clock not vouched for) ");
	pw_put_record(&o, r, inputs);
	pw_put_line(&o);
}

/* Where --since begins: behind the last record of which the clock vouches that it was before. So
 * records whose time nobody vouches for are rather shown than left out. */
static int find_since(const char *path, int64_t since_ms, uint64_t *from)
{
	struct pw_source *s;
	struct pw_source_item item;
	int got;

	*from = 1;
	if (pw_source_open(path, &s))
		return -1;
	while ((got = pw_source_next(s, &item)) == 1) {
		if (item.kind != PW_ITEM_RECORD || !item.record->wall_ok)
			continue;
		if (item.record->wall_ms >= since_ms)
			break;
		*from = item.record->seq + 1;
	}
	pw_source_close(s);
	return got < 0 ? -1 : 0;
}

static int tell_lines(const char *path, const struct wish *w)
{
	struct pw_source *s;
	struct pw_source_item item;
	uint8_t inputs = UINT8_MAX;
	uint64_t from = 1;
	int got;

	if ((w->since && find_since(path, w->since_ms, &from)) || pw_source_open(path, &s))
		return PW_EXIT_BAD;
	while ((got = pw_source_next(s, &item)) == 1) {
		const struct pw_record *r = item.record;

		if (item.kind != PW_ITEM_RECORD)
			continue;
		if (r->kind == PW_K_POLICY)
			inputs = pw_inputs_of(r);
		if (r->seq >= from && (w->kinds >> r->kind & 1))
			say_line(r, inputs);
	}
	pw_source_close(s);
	return got < 0 ? PW_EXIT_BAD : PW_EXIT_OK;
}

static int tell_story(const char *path, uint64_t sweep)
{
	struct pw_source *s;
	int status;

	if (pw_source_open(path, &s))
		return PW_EXIT_BAD;
	status = pw_story(s, sweep);
	pw_source_close(s);
	return status;
}

/* -- what is asked for ------------------------------------------------------------------------- */

static int fail(const char *expected, const char *given)
{
	fprintf(stderr, "postwalk journal: expected %s, not \"%s\"\n", expected, given);
	return -1;
}

static int unknown_kind(const char *text)
{
	char all[400] = "--kind with one or more, with commas between, of";

	for (int k = PW_K_NONE + 1; k < PW_KINDS; k++) {
		strcat(all, " ");
		strcat(all, pw_kind_name((enum pw_kind)k));
	}
	return fail(all, text);
}

static int read_kinds(const char *text, uint32_t *kinds)
{
	char name[PW_NAME_MAX];
	size_t n;

	*kinds = 0;
	for (const char *c = text; c; c = c[n] ? c + n + 1 : NULL) {
		enum pw_kind kind;

		n = strcspn(c, ",");
		snprintf(name, sizeof(name), "%.*s", (int)(n < sizeof(name) ? n : 0), c);
		kind = pw_kind_find(name);
		if (kind == PW_K_NONE)
			return unknown_kind(text);
		*kinds |= UINT32_C(1) << kind;
	}
	return 0;
}

static int read_seq(const char *text, uint64_t *seq)
{
	char *end;

	errno = 0;
	*seq = strtoull(text, &end, 10);
	if (text[0] < '0' || text[0] > '9' || *end != '\0' || errno || *seq < 1 || *seq > INT64_MAX)
		return fail("the seq of a sweep record, as postwalk journal --kind sweep shows it",
			    text);
	return 0;
}

static int read_wish(struct wish *w, int option, const char *text)
{
	switch (option) {
	case 's':
		w->since = true;
		if (pw_when_read(text, &w->since_ms) == 0)
			return 0;
		return fail("a local date, or date and time, that there was, as \"2026-11-25\" or "
			    "\"2026-11-25 07:00\"", text);
	case 'k':
		return read_kinds(text, &w->kinds);
	default:
		w->story = true;
		return read_seq(text, &w->sweep);
	}
}

static int usage(void)
{
	fputs("usage: postwalk journal [--since WHEN] [--kind KIND[,KIND]] JOURNAL|EXPORT\n"
	      "       postwalk journal --sweep N JOURNAL|EXPORT\n"
	      "  WHEN  a local date, or date and time: 2026-11-25, \"2026-11-25 07:00\"\n"
	      "  KIND  of record: sweep, restart, excused, fault, ...\n"
	      "  N     the seq of a sweep record: that sweep, told in ten lines at most\n", stderr);
	return PW_EXIT_BAD;
}

int pw_journal(int argc, char **argv)
{
	static const struct option options[] = {
		{ "since", required_argument, NULL, 's' },
		{ "kind", required_argument, NULL, 'k' },
		{ "sweep", required_argument, NULL, 'n' },
		{ 0 },
	};
	struct wish w = { .kinds = UINT32_MAX };
	int c, status;

	tzset();
	while ((c = getopt_long(argc, argv, "", options, NULL)) != -1) {
		if (c == '?')
			return usage();
		if (read_wish(&w, c, optarg))
			return PW_EXIT_BAD;
	}
	if (optind != argc - 1 || (w.story && (w.since || w.kinds != UINT32_MAX)))
		return usage();
	if (w.since && strcmp(argv[optind], "-") == 0) {
		fputs("postwalk journal: expected a file for --since: it is read twice\n", stderr);
		return PW_EXIT_BAD;
	}
	status = w.story ? tell_story(argv[optind], w.sweep) : tell_lines(argv[optind], &w);
	if (fflush(stdout) || ferror(stdout)) {
		fputs("postwalk journal: standard output cannot be written\n", stderr);
		return PW_EXIT_BAD;
	}
	if (status == PW_EXIT_OK)
		fputs("As it stands there, not checked: ask postwalk verify.\n", stderr);
	return status;
}
