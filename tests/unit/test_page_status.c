/* SPDX-License-Identifier: Apache-2.0 */
/* What the page and /status.json say of every standing, and that nothing can break out of them.
 * JSON is judged by the jansson library. */
#include "page_sample.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <strings.h>
#include <time.h>

#define PHASES (PW_PHASES - 1)

enum refusal {
	REF_NONE, REF_SOON, REF_SOON_OVER, REF_REAR_NOW, REF_REAR_WAS, REF_EXIT_NOW, REFUSALS
};

static void refuse(struct pw_snapshot *s, enum refusal r)
{
	if (r == REF_NONE)
		return;
	s->refused_ms = s->now_ms - 500;
	s->refused_why = r == REF_SOON || r == REF_SOON_OVER ? PW_TOO_SOON : PW_REAR_OPEN;
	if (r == REF_SOON)
		s->basis_ms = s->now_ms - s->walk_min_ms + 8001;
	if (r == REF_SOON_OVER)
		s->basis_ms = s->now_ms - s->walk_min_ms;
	if (r == REF_REAR_NOW)
		s->levels |= 1U << PW_REAR_DOOR;
	if (r == REF_EXIT_NOW)
		s->levels |= 1U << PW_EXITS;
}

/* One standing of the grid, from a number. */
static struct pw_snapshot standing(unsigned n, enum pw_phase *phase, enum refusal *r)
{
	*phase = (enum pw_phase)(1 + n % PHASES);
	*r = (enum refusal)(n / PHASES % REFUSALS);
	unsigned flags = n / PHASES / REFUSALS;
	struct pw_snapshot s = sample_in(*phase, *phase == PW_OVERDUE ? 61000 : 20000);

	refuse(&s, *r);
	s.service = flags & 1;
	if (s.service)
		s.service_end_ms = s.now_ms + 90500;
	s.carried = flags >> 1 & 1;
	if (flags >> 2 & 1) {
		s.fault_count = 1;
		snprintf(s.fault[0].name, sizeof s.fault[0].name, "silent_horn");
		snprintf(s.fault[0].words, sizeof s.fault[0].words, "the horn was not heard");
	}
	return s;
}

#define STANDINGS (PHASES * REFUSALS * 8)

static char html[PW_HTML_MAX], json[PW_STATUS_MAX];
static const struct pw_choice choice = { .language = PW_ENGLISH, .theme = PW_THEME_AUTO };

static json_t *status_of(const struct pw_snapshot *s)
{
	json_error_t error;

	int len = pw_page_status(s, json, sizeof json);

	assert_int_equal(len, strlen(json));
	json_t *root = json_loads(json, JSON_REJECT_DUPLICATES, &error);

	if (!root)
		fail_msg("%s at %d in %s", error.text, error.position, json);
	return root;
}

static void page_of(const struct pw_snapshot *s)
{
	int len = pw_html_page(s, &choice, html, sizeof html);

	assert_int_equal(len, strlen(html));
}

static const char *text_at(const json_t *o, const char *key)
{
	const char *text = json_string_value(json_object_get(o, key));

	assert_non_null(text);
	return text;
}

static long ms_at(const json_t *o, const char *key)
{
	const json_t *value = json_object_get(o, key);

	if (!json_is_number(value))
		fail_msg("%s is no number in %s", key, json);
	return lround(json_number_value(value) * 1000);
}

static void null_at(const json_t *o, const char *key)
{
	if (!json_is_null(json_object_get(o, key)))
		fail_msg("%s is not null in %s", key, json);
}

static void shown(const char *text)
{
	if (!strstr(html, text))
		fail_msg("\"%s\" is not on the page:\n%s", text, html);
}

static void not_shown(const char *text)
{
	if (strstr(html, text))
		fail_msg("\"%s\" is on the page", text);
}

static unsigned count(const char *text)
{
	unsigned n = 0;

	for (const char *at = html; (at = strstr(at, text)); at++)
		n++;
	return n;
}

/* Elements are closed in the order in which they were opened (HTML Living Standard, 13.1.2: void
 * elements have no end tag; self-closing is for foreign elements). */
static void well_formed(void)
{
	static const char *const is_void[] = { "meta", "link" };
	char stack[32][16];
	unsigned depth = 0;

	for (const char *at = strchr(strstr(html, "<html"), '<'); at; at = strchr(at + 1, '<')) {
		bool end = at[1] == '/';
		const char *name = at + 1 + end, *close = strchr(at, '>');
		size_t len = strcspn(name, " >/");
		bool skip = false;

		assert_non_null(close);
		assert_in_range(len, 1, sizeof stack[0] - 1);
		for (size_t i = 0; i < sizeof is_void / sizeof is_void[0]; i++)
			skip |= strlen(is_void[i]) == len && !memcmp(is_void[i], name, len);
		if (skip || close[-1] == '/')
			continue;
		if (!end) {
			assert_in_range(depth, 0, 31);
			snprintf(stack[depth++], sizeof stack[0], "%.*s", (int)len, name);
			continue;
		}
		assert_true(depth > 0);
		depth--;
		if (strlen(stack[depth]) != len || memcmp(stack[depth], name, len) != 0)
			fail_msg("</%.*s> closes <%s>", (int)len, name, stack[depth]);
	}
	assert_int_equal(depth, 0);
}

static void check_sweep(const json_t *sweep, const struct pw_snapshot *s, enum refusal r)
{
	bool owed = s->phase == PW_OWED, overdue = s->phase == PW_OVERDUE;

	if (!owed && !overdue && s->phase != PW_WALK_BACK) {
		assert_true(json_is_null(sweep));
		return;
	}
	assert_int_equal(ms_at(sweep, "open_s"), overdue ? 61000 : 20000);
	if (owed)
		assert_int_equal(ms_at(sweep, "left_s"), 40000);
	else
		null_at(sweep, "left_s");
	if (overdue)
		assert_int_equal(ms_at(sweep, "over_s"), 1000);
	else
		null_at(sweep, "over_s");
	if (s->phase == PW_WALK_BACK) {
		assert_int_equal(ms_at(sweep, "pressed_ago_s"), 2000);
		assert_int_equal(ms_at(sweep, "look_s"), 6505);
		assert_int_equal(ms_at(sweep, "leave_within_s"), 598000);
		null_at(sweep, "press_counts_in_s");
	} else {
		assert_int_equal(ms_at(sweep, "press_counts_in_s"), r == REF_SOON ? 8001 : 0);
		null_at(sweep, "pressed_ago_s");
	}
	if (r == REF_NONE) {
		null_at(sweep, "refused");
		return;
	}
	const json_t *refused = json_object_get(sweep, "refused");

	assert_string_equal(text_at(refused, "why"),
			    r == REF_SOON || r == REF_SOON_OVER ? "too_soon" : "rear_open");
	assert_int_equal(ms_at(refused, "ago_s"), 500);
}

static void every_standing_is_told(void **state)
{
	static const char *const phase_name[PW_PHASES] = {
		[PW_PARKED] = "parked", [PW_DRIVING] = "driving", [PW_OWED] = "owed",
		[PW_OVERDUE] = "overdue", [PW_WALK_BACK] = "walk_back",
	};

	(void)state;
	for (unsigned n = 0; n < STANDINGS; n++) {
		enum pw_phase phase;
		enum refusal r;
		struct pw_snapshot s = standing(n, &phase, &r);
		json_t *root = status_of(&s), *service = json_object_get(root, "service");

		assert_string_equal(text_at(root, "phase"), phase_name[phase]);
		assert_int_equal(json_is_true(json_object_get(root, "carried")), s.carried);
		assert_int_equal(json_is_true(json_object_get(service, "on")), s.service);
		if (s.service)
			assert_int_equal(ms_at(service, "left_s"), 90500);
		assert_int_equal(json_array_size(json_object_get(root, "faults")), s.fault_count);
		check_sweep(json_object_get(root, "sweep"), &s, r);

		page_of(&s);
		well_formed();
		assert_int_equal(count("<h1>"), 2); /* one waits in a template */
		shown(text_at(root, "headline"));
		assert_int_equal(count("muted until"), s.service);
		assert_int_equal(count("the horn was not heard"), s.fault_count);
		not_shown("{");
		json_decref(root);
	}
}

#define LEFT_40 "<b data-down=\"40000\">0:40</b> left"
#define OVER_1 "<b data-up=\"1999\">0:01</b> overdue"

static const struct sentence {
	enum pw_phase phase;
	enum refusal r;
	bool carried;
	const char *headline, *clock, *hindrance;
} sentences[] = {
	{ PW_PARKED, REF_NONE, false, "Nothing owed.", NULL, NULL },
	{ PW_DRIVING, REF_NONE, false, "Key on.", NULL, NULL },
	{ PW_DRIVING, REF_NONE, true, "The last sweep was missed.", NULL, NULL },
	{ PW_OWED, REF_NONE, false, "Walk to the rear now.", LEFT_40, NULL },
	{ PW_OWED, REF_SOON, false, "Walk to the rear now.", LEFT_40,
	  "Too soon to have looked under 12 rows: <span data-down=\"8001\" data-seconds>9</span> s "
	  "more." },
	{ PW_OWED, REF_SOON_OVER, false, "Walk to the rear now.", LEFT_40,
	  "The press came too soon to have looked under 12 rows." },
	{ PW_OWED, REF_REAR_NOW, false, "Walk to the rear now.", LEFT_40,
	  "The rear door is open: shut it, walk from the front." },
	{ PW_OVERDUE, REF_EXIT_NOW, false, "The sweep is overdue.", OVER_1,
	  "An emergency exit is open: shut it, walk from the front." },
	{ PW_OVERDUE, REF_REAR_WAS, false, "The sweep is overdue.",
	  OVER_1, "The press did not count: a rear door or exit was open." },
	{ PW_WALK_BACK, REF_SOON_OVER, false, "Look again, rear to front.",
	  "<b data-down=\"6505\">0:07</b> more",
	  NULL },
};

static void each_standing_has_its_sentence(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof sentences / sizeof sentences[0]; i++) {
		const struct sentence *want = &sentences[i];
		struct pw_snapshot s = sample_in(want->phase,
						 want->phase == PW_OVERDUE ? 61999 : 20000);
		char h1[64];

		s.carried = want->carried;
		refuse(&s, want->r);
		page_of(&s);
		snprintf(h1, sizeof h1, "<h1>%s</h1>", want->headline);
		shown(h1);
		if (want->clock)
			shown(want->clock);
		else
			not_shown("class=\"clock");
		if (want->hindrance)
			shown(want->hindrance);
		else
			not_shown("class=\"hindrance\"");
	}
}

static void what_to_do_fits_the_case(void **state)
{
	struct pw_snapshot s = sample_in(PW_OWED, 1000);

	(void)state;
	s.findings = 1U << PW_F_LEFT_RUNNING; /* R25 */
	s.levels |= 1U << PW_IGNITION;
	page_of(&s);
	shown("The engine was left running. Key off");
	s = sample_in(PW_OVERDUE, 61000);
	s.sounding = PW_SPENT; /* R18 */
	page_of(&s);
	shown("The sweep is still owed");
	s = sample_in(PW_DRIVING, 0);
	s.owed_when = PW_USED; /* R7, R8: a stop may be excused */
	page_of(&s);
	shown("unless the yard&#39;s policy excuses the stop");
	s = sample_in(PW_WALK_BACK, 30000);
	s.press_ms = s.now_ms - s.return_min_ms; /* R16: long enough for the second look */
	page_of(&s);
	not_shown("class=\"clock");
}

static void a_press_is_never_more_than_a_press(void **state)
{
	static const char *const never[] = { "empty", "all clear", "no child", "nobody", "no one",
					     "safe to leave", "checked" };

	(void)state;
	for (int w = PW_W_NONE + 1; w < PW_WORDS; w++)
		for (size_t i = 0; i < sizeof never / sizeof never[0]; i++)
			assert_null(strcasestr(pw_word(PW_ENGLISH, (enum pw_word)w), never[i]));
	struct pw_snapshot s = sample_in(PW_WALK_BACK, 20000);

	page_of(&s);
	shown("A press says that somebody stood at the rear, and nothing else.");
	shown("Press acknowledged</p>");
}

static void levels_are_words(void **state)
{
	struct pw_snapshot s = sample();

	(void)state;
	s.levels = 1U << PW_IGNITION | 1U << PW_REAR_BUTTON_NC | 1U << PW_SERVICE_DOOR;
	s.outputs = 1U << PW_HORN | 1U << PW_EXTRA;
	snprintf(s.line[PW_HORN].fault, sizeof s.line[0].fault, "line busy");
	json_t *root = status_of(&s), *lines = json_object_get(root, "lines");
	static const char *const word[PW_EXTRA + 1] = {
		"on", "released", "released", "released", "shut", "shut", "open", "dark",
		"quiet", "sounding", "dark", "dark", "on",
	};

	assert_int_equal(json_array_size(lines), PW_EXTRA + 1);
	for (unsigned i = 0; i <= PW_EXTRA; i++) {
		const json_t *line = json_array_get(lines, i);

		assert_string_equal(text_at(line, "word"), word[i]);
		assert_string_equal(text_at(line, "direction"), i >= PW_BEEPER ? "out" : "in");
		if (i == PW_EXITS)
			null_at(line, "changed_ago_s");
		else
			assert_int_equal(ms_at(line, "changed_ago_s"), 1500 * (i + 1));
	}
	assert_string_equal(text_at(json_array_get(lines, PW_HORN), "fault"), "line busy");
	json_decref(root);
	page_of(&s);
	shown("not seen to change");
	shown("<span class=\"fault\" lang=\"en\">line busy</span>");
	shown("<th scope=\"row\">yard_light</th>");
}

static void sweeps_are_listed(void **state)
{
	struct pw_snapshot s = sample();
	json_t *root = status_of(&s), *recent = json_object_get(root, "recent");
	const json_t *late = json_array_get(recent, 1), *missed = json_array_get(recent, 3);

	(void)state;
	assert_int_equal(json_array_size(recent), SAMPLE_OLDEST);
	assert_int_equal(ms_at(late, "walk_s"), 82500);
	assert_int_equal(ms_at(late, "late_s"), 22500);
	null_at(missed, "walk_s");
	assert_string_equal(text_at(missed, "verdict"), "missed");
	const json_t *findings = json_object_get(missed, "findings");

	assert_string_equal(json_string_value(json_array_get(findings, 0)), "driven_off");
	json_decref(root);
	page_of(&s);
	shown("no press");
	shown("driven off before a press");
	shown("<td>1:22</td><td>0:23</td>");
	s.recent_count = 0;
	page_of(&s);
	shown("None yet.");
}

static void the_day_is_told(void **state)
{
	struct pw_snapshot s = sample();
	char tag[17], later[17];

	(void)state;
	s.day.proofs = PW_EXTRA; /* of the yard light there is none */
	for (unsigned i = 0; i < PW_EXTRA; i++) {
		s.day.proof[i] = (struct pw_proof){ .how = i == PW_HORN ? PW_NOT_HEARD : PW_MOVED,
			.wall_ms = s.wall_ms - s.proof_ms + (i != PW_EXITS) };
		strcpy(s.day.proof[i].line, s.line[i].name);
	}
	s.day.child_wall_ms = s.wall_ms - 60000;
	s.day.defects = 2;
	s.day.defect[0] = (struct pw_defect){ .id = 1, .certified = PW_REPORT_REPAIRED };
	s.day.defect[1] = (struct pw_defect){ .id = 2 };
	json_t *root = status_of(&s), *unproven = json_object_get(root, "unproven");

	assert_string_equal(text_at(root, "child_found_at"), "2001-09-09T01:45:40.000+00:00");
	assert_int_equal(json_integer_value(json_object_get(root, "defects_open")), 1);
	assert_int_equal(json_array_size(unproven), 3);
	assert_string_equal(json_string_value(json_array_get(unproven, 0)), "exits");
	assert_string_equal(json_string_value(json_array_get(unproven, 1)), "horn");
	assert_string_equal(json_string_value(json_array_get(unproven, 2)), "yard_light");
	json_decref(root);
	pw_status_tag(&s, tag);
	s.wall_ms++; /* a proof grows old by time alone, and that is news */
	pw_status_tag(&s, later);
	assert_string_not_equal(tag, later);
}

static void delivery_is_told(void **state)
{
	static const char *const states[] = { "none", "away", "sending", "done", "refused" };
	struct pw_snapshot s = sample();
	json_t *root, *d;
	char tag[17], later[17];

	(void)state;
	for (int i = PW_D_NONE; i <= PW_D_REFUSED; i++) {
		s.delivery.state = (enum pw_delivery_state)i;
		root = status_of(&s);
		d = json_object_get(root, "delivery");
		assert_string_equal(text_at(d, "state"), states[i]);
		assert_int_equal(json_integer_value(json_object_get(d, "receipted")), 0);
		assert_true(json_is_null(json_object_get(d, "receipted_at")));
		assert_true(json_is_null(json_object_get(d, "alert_at")));
		assert_int_equal(json_object_size(d), 6);
		json_decref(root);
	}
	pw_status_tag(&s, tag);
	s.delivery.alerts = 2;
	s.delivery.receipted = 812;
	s.delivery.receipted_ms = s.wall_ms - 60000;
	s.delivery.alert_ms = s.wall_ms - 1000;
	strcpy(s.delivery.words, "\"no\"\n");
	root = status_of(&s);
	d = json_object_get(root, "delivery");
	assert_int_equal(json_integer_value(json_object_get(d, "receipted")), 812);
	assert_string_equal(text_at(d, "receipted_at"), "2001-09-09T01:45:40.000+00:00");
	assert_string_equal(text_at(d, "alert_at"), "2001-09-09T01:46:39.000+00:00");
	assert_int_equal(json_integer_value(json_object_get(d, "alerts_waiting")), 2);
	assert_string_equal(text_at(d, "words"), "\"no\"\n");
	json_decref(root);
	pw_status_tag(&s, later); /* it is news to who follows the page */
	assert_string_not_equal(tag, later);
}

/* Unix time 10^9 is 2001-09-09T01:46:40Z; zone rules in POSIX form (IEEE 1003.1, 8.3). */
static void times_are_local_with_their_zone(void **state)
{
	struct pw_snapshot s = sample();

	(void)state;
	setenv("TZ", "CST6CDT,M3.2.0,M11.1.0", 1);
	tzset();
	s.wall_ms += 7;
	json_t *root = status_of(&s);

	assert_string_equal(text_at(root, "at"), "2001-09-08T20:46:40.007-05:00");
	assert_string_equal(text_at(json_array_get(json_object_get(root, "recent"), 0), "stop_at"),
			    "2001-09-08T19:45:10.000-05:00");
	json_decref(root);
	page_of(&s);
	shown("2001-09-08 20:46:40 CDT");
	shown("<span class=\"day\">2001-09-08</span> <span class=\"hour\">19:45 CDT</span>");
	unsetenv("TZ");
	tzset();
}

static void clocks_reach_zero_when_it_is_time(void **state)
{
	static const struct { int64_t ms; bool down; const char *text; } want[] = {
		{ 0, true, "0:00" }, { 1, true, "0:01" }, { 42000, true, "0:42" },
		{ 42001, true, "0:43" }, { 59999, false, "0:59" }, { 60000, false, "1:00" },
		{ 3599999, false, "59:59" }, { 3600000, false, "1:00:00" },
		{ 3599001, true, "1:00:00" },
	};
	char text[PW_CLOCK_MAX];

	(void)state;
	for (size_t i = 0; i < sizeof want / sizeof want[0]; i++) {
		pw_clock_text(want[i].ms, want[i].down, text);
		assert_string_equal(text, want[i].text);
	}
}

static void names_cannot_break_out(void **state)
{
	struct pw_snapshot s = sample();

	(void)state;
	snprintf(s.bus, sizeof s.bus, "</p><b>&\"'\\\n\x01\xff\xc3\xa9");
	s.fault_count = 1;
	snprintf(s.fault[0].words, sizeof s.fault[0].words, "<script>alert(1)</script>");
	snprintf(s.line[PW_EXTRA].name, sizeof s.line[0].name, "<i>\xed\xa0\x80");
	json_t *root = status_of(&s);

	assert_string_equal(text_at(root, "bus"), "</p><b>&\"'\\\n\x01\xef\xbf\xbd\xc3\xa9");
	json_decref(root);
	page_of(&s);
	well_formed();
	assert_int_equal(count("<script"), 1); /* ours */
	not_shown("<i>");
	shown("&lt;/p&gt;&lt;b&gt;&amp;&quot;&#39;\\\n\xef\xbf\xbd\xef\xbf\xbd\xc3\xa9");
}

static struct pw_snapshot fullest(void)
{
	struct pw_snapshot s = sample_in(PW_OVERDUE, 61000);

	s.findings = (1U << PW_FINDINGS) - 1;
	s.carried = s.service = true;
	s.sounding = PW_LADDER;
	memset(s.bus, '\'', sizeof s.bus - 1);
	memset(s.rung, '\'', sizeof s.rung - 1);
	memset(s.board, '\x01', sizeof s.board - 1);
	for (unsigned i = 0; i < PW_LINES; i++) {
		s.line[i].configured = true;
		s.line[i].age_ms = INT64_MAX;
		memset(s.line[i].name, '\x01', sizeof s.line[i].name - 1);
		memset(s.line[i].fault, '\x01', sizeof s.line[i].fault - 1);
	}
	s.fault_count = PW_FAULTS_SHOWN;
	for (unsigned i = 0; i < PW_FAULTS_SHOWN; i++) {
		memset(s.fault[i].name, '\x01', sizeof s.fault[i].name - 1);
		memset(s.fault[i].words, '\x01', sizeof s.fault[i].words - 1);
	}
	s.recent_count = PW_RECENT_MAX;
	for (unsigned i = 0; i < PW_RECENT_MAX; i++)
		s.recent[i] = (struct pw_recent){ SAMPLE_WALL_MS, 1, INT64_MAX, INT64_MAX - 999,
						  s.findings, PW_DOUBTFUL };
	return s;
}

static void the_fullest_snapshot_fits(void **state)
{
	struct pw_snapshot s = fullest();

	(void)state;
	assert_true(pw_snapshot_ok(&s));
	json_decref(status_of(&s));
	page_of(&s);
	well_formed();
}

static void what_does_not_fit_is_void(void **state)
{
	struct pw_snapshot s = sample();
	int full = pw_page_status(&s, json, sizeof json);
	int page = pw_html_page(&s, &choice, html, sizeof html);

	(void)state;
	for (int size = 0; size <= full; size++) {
		json[size] = '~';
		assert_int_equal(pw_page_status(&s, json, (size_t)size), -1);
		assert_int_equal(json[size], '~');
	}
	assert_int_equal(pw_page_status(&s, json, (size_t)full + 1), full);
	html[page] = '~';
	assert_int_equal(pw_html_page(&s, &choice, html, (size_t)page), -1);
	assert_int_equal(html[page], '~');
	assert_int_equal(pw_html_page(&s, &choice, html, (size_t)page + 1), page);
}

static void the_tag_tells_change_from_passing_time(void **state)
{
	struct pw_snapshot s = sample_in(PW_OWED, 20000), later = s;
	char tag[17], other[17];

	(void)state;
	pw_status_tag(&s, tag);
	later.now_ms += 1234;
	later.wall_ms += 1234;
	for (unsigned i = 0; i < PW_LINES; i++)
		if (later.line[i].age_ms >= 0)
			later.line[i].age_ms += 1234;
	pw_status_tag(&later, other);
	assert_string_equal(tag, other);
	later.levels ^= 1U << PW_REAR_BUTTON;
	pw_status_tag(&later, other);
	assert_string_not_equal(tag, other);
	later = s;
	refuse(&later, REF_SOON);
	pw_status_tag(&later, tag);
	later.now_ms += 8001; /* what is said of the refusal is another word now */
	later.wall_ms += 8001;
	for (unsigned i = 0; i < PW_LINES; i++)
		if (later.line[i].age_ms >= 0)
			later.line[i].age_ms += 8001;
	pw_status_tag(&later, other);
	assert_string_not_equal(tag, other);
	pw_status_tag(&s, tag);
	later = s;
	later.due_ms += 1000;
	pw_status_tag(&later, other);
	assert_string_not_equal(tag, other);
}

static void a_silent_watch_has_its_page(void **state)
{
	int len = pw_html_silent(&choice, html, sizeof html);

	(void)state;
	assert_int_equal(len, strlen(html));
	well_formed();
	shown("<h1>The watch does not answer.</h1>");
	shown("The alarm is not shown here. Look at the telltale");
	shown("call the shop");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_standing_is_told),
		cmocka_unit_test(each_standing_has_its_sentence),
		cmocka_unit_test(what_to_do_fits_the_case),
		cmocka_unit_test(a_press_is_never_more_than_a_press),
		cmocka_unit_test(levels_are_words),
		cmocka_unit_test(sweeps_are_listed),
		cmocka_unit_test(the_day_is_told),
		cmocka_unit_test(delivery_is_told),
		cmocka_unit_test(times_are_local_with_their_zone),
		cmocka_unit_test(clocks_reach_zero_when_it_is_time),
		cmocka_unit_test(names_cannot_break_out),
		cmocka_unit_test(the_fullest_snapshot_fits),
		cmocka_unit_test(what_does_not_fit_is_void),
		cmocka_unit_test(the_tag_tells_change_from_passing_time),
		cmocka_unit_test(a_silent_watch_has_its_page),
	};

	return cmocka_run_group_tests_name("page: what is said", tests, NULL, NULL);
}
