/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A made-up state into an empty store, straight into its tables: what its buses delivered in a school year
 * and what became of it, as the office itself would have it; records for one district and week alone.
 *
 *	state WHERE BUSES TODAY
 *
 * WHERE: as of pw_store_open. TODAY: YYYYMMDD. Prints "name value" lines: rows a table, seconds.
 */
#include <time.h>

#include "state_made.h"
#include "state_sink.h"
#include "postwalk/journal.h"

#define DISTRICT 20 /* buses with records, of the last DISTRICT_DAYS days */
#define DISTRICT_DAYS 5
#define MONTHS 14
#define COUNTS 12
#define SECONDS 3601

static struct sink sink;
static struct state state;

static double now_s(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

#define CELLS(...) (const struct pw_cell[]){ __VA_ARGS__ }
#define N pw_cell_number
#define T pw_cell_text

/* One table: each row of the state may make some rows of it. */
static void each(const char *table, const char *names, void (*one)(const struct state_row *s, unsigned bus))
{
	struct state_row rows[STATE_NTHS];
	double from = now_s();

	sink.rows = 0;
	sink_begin(&sink, table, names);
	for (unsigned bus = 0; bus < state.buses; bus++)
		for (int day = 0; day < STATE_DAYS; day++) {
			int count = state_rows(&state, bus, day, rows);

			for (int i = 0; i < count; i++)
				one(&rows[i], bus);
		}
	sink_end(&sink);
	printf("%s_rows %llu\n%s_s %.1f\n", table, (unsigned long long)sink.rows, table,
	       now_s() - from);
	fflush(stdout);
}

/* -- rows and what they are made of ------------------------------------------------------------ */

static void put_outcome(const struct state_row *s, unsigned bus)
{
	char findings[PW_FINDINGS_TEXT_MAX];
	struct pw_cell cells[PW_CELLS_MAX];

	(void)bus;
	pw_outcome_fill(&s->row, s->nth, findings, cells);
	sink_row(&sink, cells);
}

static void put_finding(const struct state_row *s, unsigned bus)
{
	const struct pw_audit_row *r = &s->row;

	(void)bus;
	for (unsigned i = 0; i < PW_FINDINGS; i++)
		if (r->findings & 1u << i)
			sink_row(&sink, CELLS(T(pw_finding_name((enum pw_finding)i)), N(r->at_ms),
					      T(r->key.bus), N(r->key.day), N(s->nth)));
}

static void put_plan(const struct state_row *s, unsigned bus)
{
	const struct pw_audit_row *r = &s->row;

	(void)bus;
	if (r->key.run[0] != '\0')
		sink_row(&sink, CELLS(T(r->key.bus), N(r->key.day), T(r->key.run), T(r->route),
				      T(r->place), T(r->driver), N(r->begin_ms), N(r->end_ms), N(1)));
}

static void put_sweep(const struct state_row *s, unsigned bus)
{
	const struct pw_audit_row *r = &s->row;
	char findings[PW_FINDINGS_TEXT_MAX];

	(void)bus;
	if (r->seq == 0)
		return;
	pw_findings_text(r->findings, findings);
	sink_row(&sink, CELLS(T(r->key.bus), pw_cell_hex(r->epoch), N(0), N((int64_t)r->seq),
			      N(r->closed_ms), N(r->key_off_ms), pw_cell_time(r->walk_ms),
			      pw_cell_time(r->return_ms), pw_cell_time(r->late_ms),
			      N(r->closed_ms + 60000), N(r->clock_ok), T(findings), N(r->refused),
			      T(pw_verdict_name(r->verdict)), T(r->rung)));
}

/* -- buses ------------------------------------------------------------------------------------- */

static uint64_t last_seq(unsigned bus)
{
	struct state_row rows[STATE_NTHS];

	for (int day = STATE_DAYS - 1; day >= 0; day--)
		for (int i = state_rows(&state, bus, day, rows) - 1; i >= 0; i--)
			if (rows[i].row.seq != 0)
				return rows[i].row.seq;
	return 1;
}

static void put_buses(void)
{
	static const char key[] = "00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff";
	char bus[PW_NAME_MAX];

	sink_begin(&sink, "bus", "bus, key, token, enrolled_ms, heard_ms");
	for (unsigned i = 0; i < state.buses; i++) {
		state_bus(i, bus);
		sink_row(&sink, CELLS(T(bus), pw_cell_hex(key), pw_cell_hex(""),
				      N(state.midnight_ms[0]),
				      N(state.midnight_ms[STATE_DAYS - 1] + 60000000)));
	}
	sink_end(&sink);
	sink_begin(&sink, "heard", "bus, day");
	for (unsigned i = 0; i < state.buses; i++)
		for (int day = 0; day < STATE_DAYS; day++) {
			state_bus(i, bus);
			if (!state_silent(i, day))
				sink_row(&sink, CELLS(T(bus), N(state.day[day])));
		}
	sink_end(&sink);
	sink_begin(&sink, "import", "id, at_ms, who, file, hash, taken, refused");
	sink_row(&sink, CELLS(N(1), N(state.midnight_ms[0]), T("O-1"), T("year.csv"), pw_cell_hex(key),
			      N(state.buses * STATE_DAYS * STATE_RUNS), N(0)));
	sink_end(&sink);
}

static void put_awake(void)
{
	char bus[PW_NAME_MAX], epoch[17];

	sink_begin(&sink, "awake", "bus, epoch, boot, wall_ok, from_ms, to_ms");
	for (unsigned i = 0; i < state.buses; i++)
		for (int day = 0; day < STATE_DAYS; day++) {
			state_bus(i, bus);
			state_epoch(i, epoch);
			if (!state_silent(i, day))
				sink_row(&sink, CELLS(T(bus), pw_cell_hex(epoch), N(day + 1), N(1),
						      N(state.midnight_ms[day] + 21600000),
						      N(state.midnight_ms[day] + 64800000)));
		}
	sink_end(&sink);
}

/* -- tallies ----------------------------------------------------------------------------------- */

struct tally {
	int64_t count[COUNTS];
};

static void count_row(struct tally *t, const struct pw_audit_row *r)
{
	const bool planned = r->key.run[0] != '\0', none = r->result == PW_RESULT_NO_RECORD;
	const int64_t more[COUNTS] = {
		planned, r->verdict != 0, r->verdict == PW_DONE, r->verdict == PW_LATE,
		r->verdict == PW_DOUBTFUL, r->verdict == PW_MISSED, planned && none,
		planned && none && r->why == PW_NO_RECORD_BUS_SILENT, !planned, 0, r->refused,
		r->verdict == PW_MISSED ? r->unchecked_ms : 0,
	};

	for (int i = 0; i < COUNTS; i++)
		t->count[i] += more[i];
}

static void put_tally(int kind, int length, const char *name, int32_t span, const struct tally *t)
{
	struct pw_cell cells[4 + COUNTS] = { N(kind), N(length), T(name), N(span) };
	bool some = false;

	for (int i = 0; i < COUNTS; i++) {
		cells[4 + i] = N(t->count[i]);
		some |= t->count[i] != 0;
	}
	if (some)
		sink_row(&sink, cells);
}

/* Months from that of the first day on, then the school years. */
static int month_of(int32_t day)
{
	return (day / 10000 - state.day[0] / 10000) * 12 + day / 100 % 100
	       - state.day[0] / 100 % 100;
}

static int32_t span_of(int month)
{
	int32_t months = state.day[0] / 100 % 100 - 1 + month;

	return (state.day[0] / 10000 + months / 12) * 10000 + (months % 12 + 1) * 100;
}

/* Names of one kind, each with its months. */
struct by {
	enum pw_tally_by kind;
	unsigned names;
	void (*name)(unsigned i, char text[PW_AUDIT_TEXT]);
	struct tally (*month)[MONTHS];
};

static void put_months(const struct by *b, unsigned i)
{
	struct tally year[2] = { { { 0 } } };
	const int32_t first = pw_span_school_year(state.day[0]);
	char name[PW_AUDIT_TEXT];

	b->name(i, name);
	for (int m = 0; m < MONTHS; m++) {
		struct tally *to = &year[pw_span_school_year(span_of(m) + 1) != first];

		put_tally((int)b->kind, 2, name, span_of(m), &b->month[i][m]);
		for (int c = 0; c < COUNTS; c++)
			to->count[c] += b->month[i][m].count[c];
	}
	put_tally((int)b->kind, 3, name, first, &year[0]);
	put_tally((int)b->kind, 3, name, first + 10000, &year[1]);
}

static void name_all(unsigned i, char text[PW_AUDIT_TEXT]) { (void)i; text[0] = '\0'; }
static void name_bus(unsigned i, char text[PW_AUDIT_TEXT]) { state_bus(i, text); }
static void name_driver(unsigned i, char text[PW_AUDIT_TEXT]) { sprintf(text, "D%05u", i + 1); }
static void name_hour(unsigned i, char text[PW_AUDIT_TEXT]) { sprintf(text, "%02u", i); }
static void name_weekday(unsigned i, char text[PW_AUDIT_TEXT]) { sprintf(text, "%u", i); }

static void name_route(unsigned i, char text[PW_AUDIT_TEXT])
{
	sprintf(text, "R%u-%s", i / 2 + 1, i % 2 ? "PM" : "AM");
}

static void name_finding(unsigned i, char text[PW_AUDIT_TEXT])
{
	strcpy(text, pw_finding_name((enum pw_finding)i));
}

static const char *const rungs[] = { "none", "prompt", "horn", "office" };

static void name_rung(unsigned i, char text[PW_AUDIT_TEXT])
{
	strcpy(text, rungs[i]);
}

enum { ALL, BUS, DRIVER, ROUTE, HOUR, WEEKDAY, FINDING, RUNG, BYS };
static struct by by[BYS] = {
	[ALL] = { PW_BY_ALL, 1, name_all, NULL }, [BUS] = { PW_BY_BUS, 0, name_bus, NULL },
	[DRIVER] = { PW_BY_DRIVER, STATE_DRIVERS, name_driver, NULL },
	[ROUTE] = { PW_BY_ROUTE, STATE_ROUTES, name_route, NULL },
	[HOUR] = { PW_BY_HOUR, 24, name_hour, NULL }, [WEEKDAY] = { PW_BY_WEEKDAY, 8, name_weekday, NULL },
	[FINDING] = { PW_BY_FINDING, PW_FINDINGS, name_finding, NULL },
	[RUNG] = { PW_BY_RUNG, 4, name_rung, NULL },
};

static void count_by(const struct pw_audit_row *r, unsigned bus, int day)
{
	const int month = month_of(r->key.day);
	unsigned route = (bus % (STATE_ROUTES / 2)) * 2 + (strstr(r->route, "PM") != NULL);

	count_row(&by[ALL].month[0][month], r);
	count_row(&by[BUS].month[bus][month], r);
	count_row(&by[DRIVER].month[atoi(r->driver + 1) - 1][month], r);
	if (r->route[0] != '\0')
		count_row(&by[ROUTE].month[route][month], r);
	count_row(&by[HOUR].month[(r->at_ms - state.midnight_ms[day]) / 3600000][month], r);
	count_row(&by[WEEKDAY].month[pw_date_weekday(pw_date_days(r->key.day))][month], r);
	for (unsigned i = 0; i < PW_FINDINGS; i++)
		if (r->findings & 1u << i)
			count_row(&by[FINDING].month[i][month], r);
	for (unsigned i = 0; i < 4; i++)
		if (strcmp(rungs[i], r->rung) == 0)
			count_row(&by[RUNG].month[i][month], r);
}

/* Those of a bus's day are put at once, the rest is counted first. */
static void put_tallies(void)
{
	static struct tally all_day[STATE_DAYS];
	struct state_row rows[STATE_NTHS];
	char bus[PW_NAME_MAX];

	by[BUS].names = state.buses;
	for (int i = 0; i < BYS; i++)
		by[i].month = calloc(by[i].names, sizeof(*by[i].month));
	sink_begin(&sink, "tally", "kind, length, name, span, runs, sweeps, walked, late, doubtful,"
		   " missed, no_record, silent, unplanned, corrected, refused, unchecked_ms");
	for (unsigned b = 0; b < state.buses; b++) {
		state_bus(b, bus);
		for (int day = 0; day < STATE_DAYS; day++) {
			struct tally t = { { 0 } };
			int count = state_rows(&state, b, day, rows);

			for (int i = 0; i < count; i++) {
				count_row(&t, &rows[i].row);
				count_row(&all_day[day], &rows[i].row);
				count_by(&rows[i].row, b, day);
			}
			put_tally(PW_BY_BUS, 1, bus, state.day[day], &t);
		}
	}
	for (int day = 0; day < STATE_DAYS; day++)
		put_tally(PW_BY_ALL, 1, "", state.day[day], &all_day[day]);
	for (int i = 0; i < BYS; i++)
		for (unsigned n = 0; n < by[i].names; n++)
			put_months(&by[i], n);
	sink_end(&sink);
}

static void put_spread_of(const char *name, uint32_t spread[2][MONTHS][SECONDS])
{
	for (int what = 0; what < 2; what++)
		for (int m = 0; m < MONTHS; m++)
			for (int s = 0; s < SECONDS; s++)
				if (spread[what][m][s] != 0)
					sink_row(&sink, CELLS(T(name), N(what + 1), N(span_of(m)), N(s),
							      N(spread[what][m][s])));
}

static void put_spread(void)
{
	static uint32_t all[2][MONTHS][SECONDS], one[2][MONTHS][SECONDS];
	struct state_row rows[STATE_NTHS];
	char bus[PW_NAME_MAX];

	sink_begin(&sink, "spread", "bus, what, span, second, count");
	for (unsigned b = 0; b < state.buses; b++) {
		memset(one, 0, sizeof(one));
		for (int day = 0; day < STATE_DAYS; day++)
			for (int i = state_rows(&state, b, day, rows) - 1; i >= 0; i--) {
				const struct pw_audit_row *r = &rows[i].row;
				const int m = month_of(r->key.day);

				if (r->walk_ms < 0)
					continue;
				one[0][m][r->walk_ms / 1000]++;
				all[0][m][r->walk_ms / 1000]++;
				one[1][m][(r->walk_ms + r->return_ms) / 1000]++;
				all[1][m][(r->walk_ms + r->return_ms) / 1000]++;
			}
		state_bus(b, bus);
		put_spread_of(bus, one);
	}
	put_spread_of("", all);
	sink_end(&sink);
}

/* -- lines, temperatures, matters -------------------------------------------------------------- */

/* One bus in two hundred has a button that wears out over the year. */
static void put_lines(void)
{
	static const char *const line[] = { "rear_button", "service_door" };
	char bus[PW_NAME_MAX];

	sink_begin(&sink, "line_day", "bus, line, day, edges, bounces, chatters, disagreements, shortest_ms");
	for (unsigned b = 0; b < state.buses; b++)
		for (int l = 0; l < 2; l++)
			for (int day = 0; day < STATE_DAYS; day++) {
				const uint64_t draw = state_mix(b, (uint64_t)day, 40 + (uint64_t)l);
				const bool worn = l == 0 && b % 200 == 7;
				const int64_t bounces = worn ? day / 4 + (int64_t)(draw % 5)
							     : draw % 10 == 0;

				state_bus(b, bus);
				sink_row(&sink, CELLS(T(bus), T(line[l]), N(state.day[day]),
						      N(16 + (int64_t)(draw % 40)), N(bounces),
						      N(worn && day > 150), N(0),
						      N(5 + (int64_t)(draw % 60))));
			}
	sink_end(&sink);
}

static void put_warmth(void)
{
	sink_begin(&sink, "warmth", "bus, at_ms, c10, source");
	for (int64_t at_ms = state.midnight_ms[0]; at_ms < state.midnight_ms[STATE_DAYS - 1] + PW_DAY_MS;
	     at_ms += 3600000)
		sink_row(&sink, CELLS(T(""), N(at_ms),
				      N((int64_t)(150 + 200 * sin((double)at_ms / 5e9))),
				      T("made up")));
	sink_end(&sink);
}

static void put_matters(void)
{
	static const char *const kind[] = { "rung", "silent", "clock" };
	char bus[PW_NAME_MAX], epoch[17];

	sink_begin(&sink, "matter", "id, kind, bus, epoch, branch, seq, hash, at_ms, came_ms, words,"
		   " taken_ms, taken_by, taken_words");
	for (unsigned i = 0; i < 2000; i++) {
		const unsigned b = (unsigned)(state_mix(i, 1, 50) % state.buses);
		const int64_t at_ms = state.midnight_ms[i * STATE_DAYS / 2000] + 50000000;

		state_bus(b, bus);
		state_epoch(b, epoch);
		sink_row(&sink, CELLS(N(i + 1), T(kind[i % 3]), T(bus), pw_cell_hex(epoch), N(0), N(i + 1),
				      pw_cell_hex(""), N(at_ms), N(at_ms + 60000), T("made up"),
				      N(i < 1960 ? at_ms + 600000 : 0), T(i < 1960 ? "O-1" : ""), T("")));
	}
	sink_end(&sink);
	if (sink.link != NULL)
		sink_do(&sink, "SELECT setval(pg_get_serial_sequence('matter', 'id'), 2000)");
}

/* -- one district's records -------------------------------------------------------------------- */

struct chain {
	char bus[PW_NAME_MAX], epoch[17], hash[65], first_prev[65];
	uint64_t first, head;
};

static uint64_t district_first(unsigned bus)
{
	return bus < DISTRICT ? (uint64_t)(STATE_DAYS - DISTRICT_DAYS) * STATE_NTHS * 30 + 1
			      : last_seq(bus);
}

static const struct state_row *sweep_of(const struct state_row *rows, int count, uint64_t seq)
{
	for (int i = 0; i < count; i++)
		if (rows[i].row.seq == seq)
			return &rows[i];
	return NULL;
}

static void make_body(struct pw_record *r, const struct state_row *s, char body[PW_BODY_MAX + 1])
{
	struct pw_note n = { .version = PW_NOTE_VERSION, .kind = PW_K_EDGES, .mono_ms = r->mono_ms,
			     .wall_ms = r->wall_ms,
			     .of.edges = { .line = PW_SERVICE_DOOR, .count = 2,
					   .at_ms = { r->mono_ms - 800, r->mono_ms } } };

	if (s != NULL) {
		const struct pw_audit_row *row = &s->row;
		const int64_t t0_ms = r->mono_ms - (row->closed_ms - row->key_off_ms);

		n.kind = PW_K_SWEEP;
		memset(&n.of, 0, sizeof(n.of));
		n.of.sweep.sweep = (struct pw_sweep){ .t0_ms = t0_ms, .closed_ms = r->mono_ms,
			.press_ms = row->walk_ms < 0 ? PW_NO_TIME : t0_ms + row->walk_ms,
			.exit_ms = row->walk_ms < 0 ? PW_NO_TIME : r->mono_ms,
			.verdict = row->verdict, .findings = row->findings };
		strcpy(n.of.sweep.rung, row->rung);
	}
	r->kind = n.kind;
	if (pw_text_body(&n, body, PW_BODY_MAX) < 0)
		exit(1);
}

/* 30 records a sweep, the sweep the last of them and sealed. table: 0 branches, 1 records, 2 seals. */
static void put_chain(unsigned bus, const struct pw_secret_key *key, int table)
{
	static char body[PW_BODY_MAX + 1];
	struct chain c = { .first = district_first(bus), .head = last_seq(bus) };
	struct state_row rows[STATE_NTHS];
	int day = -1, count = 0;

	state_bus(bus, c.bus);
	state_epoch(bus, c.epoch);
	memset(c.hash, '7', 64);
	memcpy(c.first_prev, c.hash, sizeof(c.hash));
	for (uint64_t seq = c.first; bus < DISTRICT && seq <= c.head; seq++) {
		const int of = (int)((seq - 1) / 30 / STATE_NTHS);
		struct pw_record r = { .seq = seq, .boot = (uint64_t)of + 1, .wall_ok = true, .body = body };
		const struct state_row *s;

		if (of != day)
			count = state_rows(&state, bus, day = of, rows);
		r.mono_ms = 21600000 + (int64_t)((seq - 1) % (30 * STATE_NTHS)) * 200000;
		r.wall_ms = state.midnight_ms[day] + r.mono_ms;
		s = sweep_of(rows, count, seq);
		make_body(&r, s, body);
		memcpy(r.epoch, c.epoch, sizeof(r.epoch));
		memcpy(r.prev, c.hash, sizeof(r.prev));
		pw_record_hash(c.bus, &r, r.hash);
		memcpy(c.hash, r.hash, sizeof(c.hash));
		if (table == 1)
			sink_row(&sink, CELLS(T(c.bus), pw_cell_hex(c.epoch), N(0), N((int64_t)seq),
					      N((int64_t)r.boot), N(r.mono_ms), N(r.wall_ms), N(1),
					      T(pw_kind_name(r.kind)), pw_cell_hex(r.hash), T(body)));
		if (table == 2 && s != NULL) {
			struct pw_seal seal = { .seq = seq };

			memcpy(seal.hash, r.hash, sizeof(seal.hash));
			pw_seal_make(c.bus, c.epoch, &seal, key);
			sink_row(&sink, CELLS(T(c.bus), pw_cell_hex(c.epoch), N(0), N((int64_t)seq),
					      N(r.wall_ms + 60000), pw_cell_hex(seal.sig)));
		}
	}
	if (table == 0)
		sink_row(&sink, CELLS(T(c.bus), pw_cell_hex(c.epoch), N(0), T("first"),
				      N((int64_t)c.first), N((int64_t)c.head), pw_cell_hex(c.first_prev),
				      pw_cell_hex(c.hash), N(state.midnight_ms[0]),
				      N(state.midnight_ms[STATE_DAYS - 1]), N(0), N(0), N(0), N(0),
				      N((int64_t)c.first - 1)));
}

static void put_chains(void)
{
	static const char *const table[] = { "branch", "record", "seal" };
	static const char *const names[] = {
		"bus, epoch, branch, why, first, head, first_prev, hash, begun_ms, moved_ms, seals, sweeps,"
		" doubtful, missed, purged",
		"bus, epoch, branch, seq, boot, mono_ms, wall_ms, wall_ok, kind, hash, body",
		"bus, epoch, branch, seq, came_ms, sig",
	};
	struct pw_secret_key key;

	pw_secret_key_from((const unsigned char *)"a seed of thirty-two characters.", &key);
	for (int t = 0; t < 3; t++) {
		sink_begin(&sink, table[t], names[t]);
		for (unsigned bus = 0; bus < (t == 0 ? state.buses : DISTRICT) && bus < state.buses; bus++)
			put_chain(bus, &key, t);
		sink_end(&sink);
	}
}

int main(int argc, char **argv)
{
	double from = now_s();
	struct pw_store *s;
	char why[300];

	if (argc != 4 || !pw_date_ok(atoi(argv[3])) || atoi(argv[2]) < 1) {
		fputs("usage: state WHERE BUSES TODAY\n", stderr);
		return 2;
	}
	if (pw_store_open(argv[1], false, &s, why, sizeof(why))
	    || state_begin(&state, (unsigned)atoi(argv[2]), atoi(argv[3]), why, sizeof(why))) {
		fprintf(stderr, "state: %s\n", why);
		return 1;
	}
	pw_store_close(s);
	sink_open(&sink, argv[1]);
	put_buses();
	put_chains();
	each("sweep", pw_columns[PW_T_SWEEP].names, put_sweep);
	each("plan", "bus, day, run, route, place, driver, begin_ms, end_ms, import", put_plan);
	each("outcome", pw_columns[PW_T_OUTCOME].names, put_outcome);
	each("outcome_finding", pw_columns[PW_T_FINDING].names, put_finding);
	put_tallies();
	put_spread();
	put_awake();
	put_lines();
	put_warmth();
	put_matters();
	printf("rows_s %.1f\n", now_s() - from);
	fflush(stdout);
	sink_close(&sink);
	printf("load_s %.1f\n", now_s() - from);
	return 0;
}
