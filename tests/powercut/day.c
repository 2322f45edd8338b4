/* SPDX-License-Identifier: Apache-2.0 */
#include "day.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cut.h"

#define PAUSE_MS 300000 /* between two scenarios */
#define LINES_MAX 2000
#define BATCHES_MAX 4000
#define STAMP_MS 5000 /* J12 */
#define LIST_MAX 8192

/* Those that the watch can be told moment by moment; power goes in three of them. */
static const char *const scenarios[] = {
	"stalled-at-the-lights", "a-day", "b10-the-walk", "g07-errand-in-mid-route",
	"g13-key-off-and-on-again", "g14-fuse-pulled", "rushed", "battery-switch-on-leaving",
};

static void *more(void *at, size_t size)
{
	at = realloc(at, size);
	if (!at)
		play_fail("no memory");
	return at;
}

/* -- the trace --------------------------------------------------------------------------------- */

static void add_words(char *text, size_t size, const char *word, const char *value)
{
	size_t n = strlen(text);

	snprintf(text + n, size - n, " %s=%s", word, value);
}

void day_line_text(const struct pw_policy *p, const struct pw_trace_line *l, char *text,
		   size_t size)
{
	snprintf(text, size, "%" PRId64 ".%03d", l->at_ms / 1000, (int)(l->at_ms % 1000));
	if (l->power)
		add_words(text, size, "power", l->power == PW_CUT ? "cut" : "on");
	for (unsigned i = 0; i < PW_INPUTS; i++)
		if (l->mask >> i & 1)
			add_words(text, size, p->line[i].name, l->levels >> i & 1 ? "1" : "0");
	if (l->end)
		snprintf(text + strlen(text), size - strlen(text), " end");
}

/* So that the scenario's second line comes a while after what was before. A scenario begins with
 * power and with every line's level told. */
static void add_scenario(struct day *d, const char *name)
{
	const struct pw_policy *policy = &d->play->bus.active.policy;
	struct pw_trace_line l = { 0 }, *first = &d->line[d->lines];
	const int64_t from_ms = d->lines > 0 ? first[-1].at_ms + PAUSE_MS : 1000;
	int64_t move_ms = 0;
	struct pw_trace *t;
	char path[128];

	snprintf(path, sizeof(path), "tests/scenarios/%s.trace", name);
	t = pw_trace_open(path, policy);
	for (unsigned n = 0; t && pw_trace_next(t, &l) == 1 && !l.end; n++) {
		if (l.service >= 0 || l.clock_lost || d->lines == LINES_MAX)
			play_fail("%s: this scenario cannot be part of the day", path);
		if (n == 0)
			l.mask |= 1u << PW_IGNITION | 1u << PW_REAR_BUTTON | 1u << PW_REAR_DOOR |
				  1u << PW_EXITS | 1u << PW_SERVICE_DOOR | 1u << PW_LAMPS;
		if (n == 1)
			move_ms = from_ms + 1000 - l.at_ms;
		l.at_ms = n == 0 ? from_ms : l.at_ms + move_ms;
		d->cuts += l.power == PW_CUT;
		d->line[d->lines++] = l;
	}
	if (!t)
		play_fail("%s: no such scenario", path);
	pw_trace_close(t);
}

static void make_trace(struct day *d, const char *const scenario[], size_t count, unsigned times)
{
	FILE *f = fopen(d->trace, "w");
	char text[256];

	d->line = more(NULL, LINES_MAX * sizeof(d->line[0]));
	for (size_t i = 0; i < times * count; i++)
		add_scenario(d, scenario[i % count]);
	d->line[d->lines] = (struct pw_trace_line){
		.at_ms = d->line[d->lines - 1].at_ms + PAUSE_MS, .service = -1, .end = true,
	};
	d->lines++;
	for (size_t i = 0; f && i < d->lines; i++) {
		day_line_text(&d->play->bus.active.policy, &d->line[i], text, sizeof(text));
		fprintf(f, "%s\n", text);
	}
	if (!f || fclose(f))
		play_fail("%s cannot be written", d->trace);
}

/* -- while it is played ------------------------------------------------------------------------ */

/* The clock stands a moment before: so a stamp that is due says that nothing had happened yet. */
static void before(struct play *p)
{
	disk_clock(p->bus.now_ms - 1, p->bus.wall_ms - 1);
}

static void after(struct play *p)
{
	const uint64_t told = disk_told_batch();
	struct day *d = p->ctx;
	char state[PW_KEPT_MAX];

	disk_clock(p->bus.now_ms, p->bus.wall_ms);
	d->in_order = disk_entries();
	if (told == d->batches)
		return;
	if (told != d->batches + 1 || told >= BATCHES_MAX)
		play_fail("batch %" PRIu64 " was told behind %" PRIu64, told, d->batches);
	if (pw_text_kept(&p->bus.state, state, sizeof(state)) < 0)
		play_fail("a state that cannot be kept");
	d->batches = told;
	d->batch[told] = (struct day_batch){ .seq = disk_told_seq(),
					     .mono_ms = p->bus.judged_ms, .state = strdup(state) };
}

static void read_records(struct day *d)
{
	char path[128], why[256] = "";
	struct pw_journal *j;
	struct pw_record r = { 0 };

	snprintf(path, sizeof(path), "%s/journal.db", d->play->dir);
	if (pw_journal_open(path, PLAY_BUS, false, &j, why, sizeof(why)) < 0)
		play_fail("%s", why);
	while (pw_journal_read(j, r.seq + 1, &r, why, sizeof(why)) == 1) {
		if (r.seq != ++d->records)
			play_fail("the day's own journal has a gap at seq %" PRIu64, r.seq);
		d->hash = more(d->hash, (d->records + 1) * sizeof(d->hash[0]));
		memcpy(d->hash[r.seq], r.hash, sizeof(d->hash[0]));
		d->sweeps += r.kind == PW_K_SWEEP;
	}
	pw_journal_close(j);
}

/* What the log makes must be what is there: nothing went by. */
static void check_log(const struct day *d)
{
	struct cut *c = cut_new();

	while (cut_at(c) < disk_entries())
		cut_advance(c);
	if (cut_compare(c, d->play->dir) < 0)
		play_fail("the log does not make what the day left");
	for (unsigned k = DISK_DATABASE; k <= DISK_ROLLBACK; k++) {
		struct disk_count a = disk_count(k), b = disk_count_below(k);

		if (a.bytes != b.bytes || a.syncs != b.syncs)
			play_fail("the VFS counts %" PRIu64 " bytes and %" PRIu64 " syncs of %u, "
				  "the C library %" PRIu64 " and %" PRIu64, a.bytes, a.syncs, k,
				  b.bytes, b.syncs);
	}
	cut_free(c);
}

struct day *day_live_of(const char *const scenario[], size_t count, unsigned times)
{
	struct day *d = more(NULL, sizeof(*d));

	memset(d, 0, sizeof(*d));
	snprintf(d->base, sizeof(d->base), "%s/postwalk-day-XXXXXX",
		 access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp");
	if (!mkdtemp(d->base))
		play_fail("%s cannot be made", d->base);
	snprintf(d->trace, sizeof(d->trace), "%s/day.trace", d->base);
	d->play = play_new(d->base, NULL);
	d->batch = more(NULL, BATCHES_MAX * sizeof(d->batch[0]));
	d->batch[0] = (struct day_batch){ .mono_ms = PW_NO_TIME };
	make_trace(d, scenario, count, times);
	d->play->pace.stamp_ms = STAMP_MS;
	d->play->one_by_one = d->play->cut_hard = true;
	d->play->before = before;
	d->play->after = after;
	d->play->ctx = d;
	disk_open(d->play->dir);
	disk_record(true);
	play_trace(d->play, d->trace);
	disk_record(false);
	if (!d->play->exact)
		play_fail("this day cannot be told moment by moment");
	check_log(d);
	if (play_agrees(d->play, d->trace))
		play_fail("the day itself is not journaled as it was");
	if (play_verifies(d->play))
		play_fail("the day's own journal is not sound");
	read_records(d);
	return d;
}

struct day *day_live(unsigned days)
{
	return day_live_of(scenarios, sizeof(scenarios) / sizeof(scenarios[0]), days);
}

void day_free(struct day *d)
{
	play_shell("rm -rf '%s'", d->base);
	for (uint64_t i = 0; i <= d->batches; i++)
		free(d->batch[i].state);
	free(d->batch);
	free(d->hash);
	free(d->line);
	play_free(d->play);
	free(d);
}
