/* SPDX-License-Identifier: Apache-2.0 */
/* The pages with forms: drawn whole in each language, at the worst too. */
#include "page_leaf_sample.h"

#include <stdlib.h>

static struct drawing drawn; /* of the test under way */

static void has(const char *text)
{
	if (!strstr(drawn.buf, text))
		fail_msg("\"%s\" is not in:\n%s", text, drawn.buf);
}

static void lacks(const char *text)
{
	if (strstr(drawn.buf, text))
		fail_msg("\"%s\" is in the page", text);
}

static void draw(const char *path, const struct pw_snapshot *s, const char *query)
{
	struct pw_wires w = sample_work(s);

	draw_leaf(&drawn, path, s, &w, PW_ENGLISH, query, NULL, PW_W_NONE);
}

static unsigned count_of(const char *what)
{
	unsigned n = 0;

	for (const char *at = drawn.buf; (at = strstr(at, what)); at++)
		n++;
	return n;
}

/* -- drawn whole ------------------------------------------------------------------------------- */

/* Addresses that lead to different pages. */
static const struct { const char *path, *query; } looks[] = {
	{ "/before", "" }, { "/before", "tried=9" }, { "/found", "" },
	{ "/found", "what=nothing" }, { "/found", "what=mechanical" }, { "/found", "what=child" },
	{ "/found", "what=taken" }, { "/found", "what=child_taken" }, { "/report", "" },
	{ "/pin", "for=installer" }, { "/pin", "for=mechanic" }, { "/installer", "" },
	{ "/installer", "span=60" }, { "/installer", "span=600" }, { "/installer/wiring", "" },
	{ "/installer/setup", "" }, { "/mechanic", "" }, { "/leave", "" },
};

static bool is_void(const char *name, size_t len)
{
	static const char *const names[] = { "meta", "link", "input", "br", "path", "circle",
					     "use" };

	for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
		if (strlen(names[i]) == len && !strncmp(names[i], name, len))
			return true;
	return false;
}

/* Each element is closed in its turn, but for void ones and li, dt, dd that are closed anyway. */
static void well_nested(void)
{
	char open[64][16];
	int depth = 0;

	for (const char *at = drawn.buf; (at = strchr(at, '<')); at++) {
		bool close = at[1] == '/';
		const char *name = at + 1 + close;
		size_t len = strcspn(name, " >/\n");

		if (*name == '!' || is_void(name, len))
			continue;
		if (!close) {
			assert_in_range(depth, 0, 63);
			snprintf(open[depth++], sizeof open[0], "%.*s", (int)len, name);
			continue;
		}
		assert_in_range(depth, 1, 64);
		if (strlen(open[--depth]) != len || strncmp(open[depth], name, len) != 0)
			fail_msg("</%.*s> closes <%s>", (int)len, name, open[depth]);
	}
	assert_int_equal(depth, 0);
}

/* An id stands once, and whatever points at one finds it. */
static void ids_are_whole(void)
{
	static const char *const pointers[] = { " for=\"", "aria-labelledby=\"",
						"href=\"#" };
	char want[80];

	for (const char *at = drawn.buf; (at = strstr(at, " id=\"")); at++) {
		snprintf(want, sizeof want, "%.*s\"", (int)strcspn(at + 5, "\"") + 5, at);
		assert_int_equal(count_of(want), 1);
	}
	for (size_t p = 0; p < sizeof pointers / sizeof pointers[0]; p++)
		for (const char *at = drawn.buf; (at = strstr(at, pointers[p])); at++) {
			const char *name = at + strlen(pointers[p]);

			snprintf(want, sizeof want, " id=\"%.*s\"", (int)strcspn(name, "\""), name);
			has(want);
		}
}

static void looks_whole(const char *path)
{
	assert_true(drawn.len > 0);
	lacks("{{");
	lacks("{1}");
	lacks("{2}");
	has("<!DOCTYPE html>");
	assert_int_equal(count_of("<h1>"), 2); /* its own, and one in the template for silence */
	assert_int_equal(count_of("<main>"), 1);
	assert_int_equal(count_of("<form "), count_of("name=\"token\" value=\"" SAMPLE_TOKEN "\""));
	assert_int_equal(count_of("<form "), count_of("method=\"post\" action=\""));
	char action[64];

	snprintf(action, sizeof action, "action=\"%s\"", path);
	assert_int_equal(count_of("<form "), count_of(action));
	well_nested();
	ids_are_whole();
}

static void every_page_is_whole_in_every_language(void **state)
{
	struct pw_snapshot s = sample_day();
	struct pw_wires w = sample_work(&s);

	(void)state;
	s.day.child_wall_ms = s.wall_ms - 1000;
	for (int walking = 0; walking <= 1; walking++) {
		for (int l = PW_LANGUAGE_NONE + 1; l < PW_LANGUAGES; l++)
			for (size_t i = 0; i < sizeof looks / sizeof looks[0]; i++) {
				draw_leaf(&drawn, looks[i].path, &s, &w, (enum pw_language)l,
					  looks[i].query, NULL, PW_W_NONE);
				looks_whole(looks[i].path);
			}
		sample_walk(&w);
	}
}

/* Every leaf that is a page can show again a form that was turned down, whatever for. */
static void a_refusal_is_shown_on_its_page(void **state)
{
	static const enum pw_word why[] = {
		PW_W_A_PIN_WRONG, PW_W_A_PIN_SOON, PW_W_A_PIN_UNSET, PW_W_A_PIN_IN_HAND,
		PW_W_A_TAKEN, PW_W_A_NO_SESSION, PW_W_A_NOT_NOW, PW_W_A_NOT_SUCH, PW_W_A_NOT_DONE,
		PW_W_E_FORM, PW_W_E_CODE, PW_W_E_WORDS, PW_W_E_PART, PW_W_E_PIN, PW_W_E_LINE,
	};
	struct pw_snapshot s = sample_day();
	struct pw_wires w = sample_work(&s);

	(void)state;
	for (size_t i = 0; i < sizeof looks / sizeof looks[0]; i++)
		for (size_t r = 0; r < sizeof why / sizeof why[0]; r++) {
			draw_leaf(&drawn, looks[i].path, &s, &w, PW_FRENCH, looks[i].query, "",
				  why[r]);
			looks_whole(looks[i].path);
			assert_int_equal(count_of("role=\"alert\""), 1);
		}
}

static void a_refusal_has_a_page_of_its_own(void **state)
{
	const struct pw_choice c = { .language = PW_ENGLISH, .theme = PW_THEME_DARK };

	(void)state;
	drawn.len = pw_html_refusal(&c, PW_W_E_USED, 0, "/found", drawn.buf, sizeof drawn.buf);
	assert_true(drawn.len > 0);
	has("This form was sent before. It was not taken a second time.");
	has("href=\"/found\"");
	lacks("{{");
	well_nested();
	drawn.len = pw_html_refusal(&c, PW_W_A_PIN_SOON, 75000, NULL, drawn.buf, sizeof drawn.buf);
	has("will be looked at in 1:15.");
}

/* -- the worst --------------------------------------------------------------------------------- */

/* Every line, each name and text as long as it may be and of characters that are escaped. */
static struct pw_snapshot worst_day(void)
{
	struct pw_snapshot s = sample_day();

	s.day.proofs = s.day.defects = s.day.last_id = 0;
	for (unsigned i = 0; i < PW_LINES; i++) {
		s.line[i].configured = true;
		snprintf(s.line[i].name, sizeof s.line[i].name, "line_%02u_of_a_very_long_name_now", i);
		memset(s.line[i].fault, '"', sizeof s.line[i].fault - 1);
		prove(&s, i, PW_NOT_HEARD, 90000000);
	}
	for (int i = 0; i < PW_DEFECTS_MAX; i++) {
		struct pw_defect *d = defect(&s, PW_FOUND_MECHANICAL, PW_PART_EMERGENCY_EQUIPMENT,
					     "driver-12345678", "");

		d->id = UINT32_MAX - (uint32_t)i;
		memset(d->words, '\'', sizeof d->words - 1);
	}
	s.day.defects_dropped = UINT32_MAX;
	s.day.child_wall_ms = s.wall_ms - 1000;
	memset(s.call, '"', sizeof s.call - 1);
	return s;
}

static struct pw_wires worst_wires(const struct pw_snapshot *s)
{
	struct pw_wires w = sample_work(s);

	for (unsigned i = 0; i < PW_LINES; i++) {
		struct pw_wire *x = &w.wire[i];

		x->tail = PW_TAIL_MAX;
		for (int k = 0; k < PW_TAIL_MAX; k++)
			x->at_ms[k] = w.now_ms - (PW_TAIL_MAX - k) * 50;
		x->count = x->chatter = UINT32_MAX;
		for (int k = 0; k < PW_WIDTHS; k++)
			x->width[k] = UINT32_MAX - (uint32_t)k;
		x->verdict = PW_WIRE_CHATTERS;
	}
	w.disagree_ms = 0;
	sample_walk(&w);
	w.wiring.steps = PW_WIRING_STEPS;
	w.wiring.at = PW_WIRING_STEPS - 1;
	for (unsigned i = 0; i < PW_WIRING_STEPS; i++)
		w.wiring.step[i] = (struct pw_wiring_step){
			.line = PW_REAR_BUTTON_NC, .other = PW_SERVICE_DOOR,
			.result = PW_WIRING_CROSSTALK, .edges = UINT16_MAX,
			.other_edges = UINT16_MAX, .chatter = UINT16_MAX, .shortest_ms = INT64_MAX };
	return w;
}

static void the_worst_fits(void **state)
{
	struct pw_snapshot s = worst_day();
	struct pw_wires w = worst_wires(&s);
	char sent[800];

	(void)state;
	snprintf(sent, sizeof sent, "what=mechanical&part=wipers&who=%s&words=%.163s",
		 "a b c d e f g h i j k", s.call);
	for (int l = PW_LANGUAGE_NONE + 1; l < PW_LANGUAGES; l++)
		for (size_t i = 0; i < sizeof looks / sizeof looks[0]; i++) {
			draw_leaf(&drawn, looks[i].path, &s, &w, (enum pw_language)l,
				  looks[i].query, sent, PW_W_E_WORDS);
			looks_whole(looks[i].path);
		}
}

static void too_small_a_buffer_is_told(void **state)
{
	const struct pw_choice c = { .language = PW_ENGLISH, .theme = PW_THEME_AUTO };
	struct pw_snapshot s = sample_day();
	const struct pw_form none = { 0 };
	const struct pw_visit v = { .choice = &c, .s = &s, .query = &none, .token = "" };
	char small[2000];

	(void)state;
	assert_int_equal(pw_html_leaf(leaf_at("/report"), &v, small, sizeof small), -1);
	assert_int_equal(pw_html_refusal(&c, PW_W_E_USED, 0, NULL, small, sizeof small), -1);
}

/* A visit of a page: itself, both stylesheets, the script. 60 kB by the yard's slow link. */
static void a_visit_is_light(void **state)
{
	struct pw_snapshot s = sample_day();
	struct pw_wires w = sample_work(&s);
	size_t assets = strlen(pw_web_style) + strlen(pw_web_dark) + strlen(pw_web_script);

	(void)state;
	sample_walk(&w);
	for (unsigned i = 0; i < PW_LINES; i++)
		s.line[i].configured = w.wire[i].name[0];
	for (int l = PW_LANGUAGE_NONE + 1; l < PW_LANGUAGES; l++)
		for (size_t i = 0; i < sizeof looks / sizeof looks[0]; i++) {
			draw_leaf(&drawn, looks[i].path, &s, &w, (enum pw_language)l,
				  looks[i].query, NULL, PW_W_NONE);
			if ((size_t)drawn.len + assets > 60000)
				fail_msg("%s: %d + %zu bytes", looks[i].path, drawn.len, assets);
		}
}

/* Others' words are content, never markup. */
static void others_words_are_escaped(void **state)
{
	static const char evil[] = "<b>\"'&</b>";
	struct pw_snapshot s = sample_day();
	char line[PW_NAME_MAX] = "<i>horn</i>";

	(void)state;
	snprintf(s.call, sizeof s.call, "%s", evil);
	snprintf(s.bus, sizeof s.bus, "%s", evil);
	snprintf(s.day.defect[0].words, sizeof s.day.defect[0].words, "%s", evil);
	snprintf(s.day.defect[0].who, sizeof s.day.defect[0].who, "<u>x</u>");
	snprintf(s.day.report.who, sizeof s.day.report.who, "<u>x</u>");
	snprintf(s.day.setup.who, sizeof s.day.setup.who, "<u>x</u>");
	s.day.setup.wall_ms = s.day.child_wall_ms = s.wall_ms;
	snprintf(s.line[PW_EXTRA].name, sizeof s.line[PW_EXTRA].name, "%s", line);
	snprintf(s.line[PW_HORN].fault, sizeof s.line[PW_HORN].fault, "%s", evil);
	struct pw_wires w = sample_work(&s);

	for (size_t i = 0; i < sizeof looks / sizeof looks[0]; i++) {
		draw_leaf(&drawn, looks[i].path, &s, &w, PW_ENGLISH, looks[i].query,
			  "who=<u>x</u>&words=<u>x</u>&what=<u>x</u>&do=<u>x</u>&span=<u>x</u>",
			  PW_W_E_CODE);
		lacks("<b>\"");
		lacks("<u>");
		lacks("<i>");
	}
}

/* Only what is plain goes into the page's own address. */
static void the_choices_lead_back(void **state)
{
	struct pw_snapshot s = sample_day();

	(void)state;
	draw("/pin", &s, "for=mechanic");
	has("href=\"/lang?to=es&amp;from=/pin?for=mechanic\"");
	has("href=\"/theme?to=dark&amp;from=/pin?for=mechanic\"");
	draw("/pin", &s, "for=\"><x");
	has("href=\"/lang?to=es&amp;from=/pin\"");
	draw("/installer", &s, "span=60");
	has("href=\"/installer?span=60&amp;hold=1\"");
	draw("/before", &s, "");
	has("href=\"/before?hold=1\"");
}

/* -- each page says what it should ------------------------------------------------------------- */

static void what_is_left_to_prove_comes_first(void **state)
{
	struct pw_snapshot s = sample_day();

	(void)state;
	draw("/before", &s, "");
	has("<b>Rear door</b>: not seen to move today. Open and shut it.");
	has("<b>Red warning lamps</b>: not seen to move today."); /* its proof is two days old */
	has("<b>Horn</b>: tried, and not heard or seen.");
	has("<b>yard_light</b>: not heard or seen today.");
	lacks("<b>Ignition key</b>:");
	lacks("<b>Beeper</b>:");
	has("proven, but older than 24 h");
	has("href=\"/report#review\"");
	assert_true(strstr(drawn.buf, "<ul class=\"todo\">") < strstr(drawn.buf, "<table"));
	lacks("Did you hear or see it?");
	draw("/before", &s, "tried=9");
	has("Did you hear or see it? Horn");
	draw("/before", &s, "tried=1"); /* no output */
	lacks("Did you hear or see it?");
}

static void all_proven_says_so_and_nothing_more(void **state)
{
	struct pw_snapshot s = sample_day();

	(void)state;
	s.day.proofs = 0;
	for (unsigned i = 0; i < PW_LINES; i++)
		if (s.line[i].configured)
			prove(&s, i, s.line[i].out ? PW_SENSED : PW_MOVED, 1000);
	draw("/before", &s, "");
	has("Every line and every signal has been proven.");
	lacks("class=\"todo\"");
}

/* R19, and no trial over an open sweep: said before it is tried. */
static void why_a_signal_is_not_tried(void **state)
{
	struct pw_snapshot s = sample_day();

	(void)state;
	draw("/before", &s, "");
	lacks("A sweep is open:");
	lacks("The key is on:");
	s.levels |= 1U << PW_IGNITION;
	draw("/before", &s, "");
	has("The key is on:");
	s.levels |= 1U << PW_PARK_BRAKE;
	draw("/before", &s, "");
	lacks("The key is on:");
	s.phase = PW_OWED;
	draw("/before", &s, "");
	has("A sweep is open:");
	struct pw_wires w = sample_work(&s);

	draw_leaf(&drawn, "/installer", &s, &w, PW_ENGLISH, "", "do=try&line=9", PW_W_A_NOT_NOW);
	has("That cannot be done now. Nothing was changed. A sweep is open:");
}

static void a_find_takes_two_taps(void **state)
{
	struct pw_snapshot s = sample_day();
	char link[64];

	(void)state;
	draw("/found", &s, "");
	for (int w = PW_FOUND_NONE + 1; w < PW_FOUND_WHATS; w++) {
		snprintf(link, sizeof link, "href=\"/found?what=%s\"",
			 pw_found_name((enum pw_found_what)w));
		has(link);
	}
	lacks("<form");
	draw("/found", &s, "what=article");
	has("name=\"what\" value=\"article\"");
	has("name=\"words\"");
	lacks("name=\"part\"");
	draw("/found", &s, "what=mechanical");
	has("name=\"part\"");
	draw("/found", &s, "what=child"); /* one tap, no fields */
	has("<form");
	lacks("name=\"words\"");
	lacks("name=\"who\"");
}

/* First: stay; then the call, by the yard's rule. */
static void a_found_child_comes_before_all(void **state)
{
	const struct pw_choice c = { .language = PW_ENGLISH, .theme = PW_THEME_AUTO };
	struct pw_snapshot s = sample_day();

	(void)state;
	s.day.child_wall_ms = s.wall_ms - 60000;
	draw("/found", &s, "what=child_taken");
	has("Call your dispatcher.");
	snprintf(s.call, sizeof s.call, "Yard office, line 2");
	draw("/found", &s, "what=child_taken");
	has("Call: Yard office, line 2");
	assert_true(strstr(drawn.buf, "Stay with the child.") < strstr(drawn.buf, "Call: Yard"));
	has("Do not leave the bus to make the call");
	drawn.len = pw_html_page(&s, &c, drawn.buf, sizeof drawn.buf);
	has("Stay with the child.");
	assert_true(strstr(drawn.buf, "Stay with the child.") < strstr(drawn.buf, "<h1>"));
	s.day.child_wall_ms = s.wall_ms - 12 * INT64_C(3600000);
	drawn.len = pw_html_page(&s, &c, drawn.buf, sizeof drawn.buf);
	lacks("Stay with the child.");
}

/* A receipt of that very record, and nothing else, says that the office has it; the call stays. */
static void the_office_has_heard_of_a_child(void **state)
{
	static const char told[] = "It may not have heard yet: make the call.";
	static const char has_it[] = "It may not have been read yet: make the call.";
	const struct pw_choice c = { .language = PW_ENGLISH, .theme = PW_THEME_AUTO };
	struct pw_snapshot s = sample_day();

	(void)state;
	s.day.child_wall_ms = s.wall_ms - 60000;
	s.delivery.alert_ms = s.wall_ms; /* of something else */
	draw("/found", &s, "what=child_taken");
	has(told);
	lacks(has_it);
	s.delivery.child_wall_ms = s.day.child_wall_ms - 1; /* of an earlier one */
	s.delivery.child_ms = s.wall_ms - 30000;
	draw("/found", &s, "what=child_taken");
	has(told);
	lacks(has_it);
	s.delivery.child_wall_ms = s.day.child_wall_ms;
	draw("/found", &s, "what=child_taken");
	has(has_it);
	has("computer has had it since ");
	has("01:46"); /* by the office's clock, in the zone of the bus */
	lacks(told);
	has("Call your dispatcher.");
	drawn.len = pw_html_page(&s, &c, drawn.buf, sizeof drawn.buf);
	has(has_it);
	s.day.child_wall_ms = s.wall_ms; /* another one, a moment ago */
	drawn.len = pw_html_page(&s, &c, drawn.buf, sizeof drawn.buf);
	has(told);
	lacks(has_it);
}

/* 49 CFR 396.11(a)(1): the parts that a report covers at least (from memory; day.h lists them). */
static void the_report_lists_what_is_open(void **state)
{
	struct pw_snapshot s = sample_day();

	(void)state;
	draw("/report", &s, "");
	has("49 CFR 396.11");
	has("1. Damage");
	has("2. A mechanical fault: Windshield wipers");
	has("No repair is needed, as m-3 certifies.");
	has("Signed by d-204,");
	has("Not reviewed yet.");
	has("value=\"review\"");
	s.day.review = s.day.report;
	s.day.review.wall_ms++;
	draw("/report", &s, "");
	has("Reviewed by d-204,");
	lacks("value=\"review\"");
	has("value=\"sign\"");
	s.day.defects = 0;
	draw("/report", &s, "");
	has("No open defect has been noted.");
}

static void a_pin_is_asked_for_whom(void **state)
{
	struct pw_snapshot s = sample_day();

	(void)state;
	draw("/pin", &s, "for=mechanic");
	has("The mechanic&#39;s PIN");
	has("name=\"for\" value=\"mechanic\"");
	has("autocomplete=\"off\"");
	lacks("inputmode");
	draw("/pin", &s, "for=nobody");
	has("name=\"for\" value=\"installer\"");
}

/* WCAG 2.2, 3.3.1: the error is told in text, and tied to its field. */
static void an_error_is_tied_to_its_field(void **state)
{
	struct pw_snapshot s = sample_day();
	struct pw_wires w = sample_work(&s);
	static const struct { const char *path, *sent, *id; enum pw_word why; } errors[] = {
		{ "/found", "what=damage&who=a b", "who-error", PW_W_E_CODE },
		{ "/found", "what=damage&words=x", "words-error", PW_W_E_WORDS },
		{ "/found", "what=mechanical", "part-error", PW_W_E_PART },
		{ "/report", "do=sign", "who-error", PW_W_E_CODE },
		{ "/pin", "for=mechanic", "pin-error", PW_W_A_PIN_WRONG },
		{ "/pin", "for=mechanic", "pin-error", PW_W_E_PIN },
		{ "/mechanic", "do=certify", "id-error", PW_W_E_DEFECT },
		{ "/mechanic", "do=certify", "as-error", PW_W_E_CERTIFY },
	};

	(void)state;
	for (size_t i = 0; i < sizeof errors / sizeof errors[0]; i++) {
		char text[64];

		draw_leaf(&drawn, errors[i].path, &s, &w, PW_SPANISH, "", errors[i].sent,
			  errors[i].why);
		snprintf(text, sizeof text, "id=\"%s\"", errors[i].id);
		assert_int_equal(count_of(text), 1);
		snprintf(text, sizeof text, "aria-describedby=\"%s", errors[i].id);
		assert_int_equal(count_of(text), 1);
	}
}

static void what_was_typed_is_kept_but_for_the_pin(void **state)
{
	struct pw_snapshot s = sample_day();
	struct pw_wires w = sample_work(&s);

	(void)state;
	draw_leaf(&drawn, "/found", &s, &w, PW_ENGLISH, "",
		  "what=mechanical&part=wipers&who=a b&words=torn", PW_W_E_CODE);
	has("value=\"a b\"");
	has("value=\"torn\"");
	has("value=\"wipers\" selected");
	draw_leaf(&drawn, "/pin", &s, &w, PW_ENGLISH, "", "for=mechanic&pin=secret77",
		  PW_W_A_PIN_WRONG);
	lacks("secret77");
	has("The mechanic&#39;s PIN");
}

static void service_is_shown_with_its_end(void **state)
{
	struct pw_snapshot s = sample_day();

	(void)state;
	draw("/mechanic", &s, "");
	has("Service is off.");
	has("value=\"on\"");
	s.service = true;
	s.service_end_ms = s.now_ms + 600000;
	draw("/mechanic", &s, "");
	has("10:00 more.");
	has("value=\"off\"");
	has("value=\"certify\"");
	has("value=\"1\" required");
	lacks("value=\"3\" required"); /* certified already */
	s.day.defects = 0;
	draw("/mechanic", &s, "");
	lacks("value=\"certify\"");
}

static void the_installer_sees_each_line(void **state)
{
	struct pw_snapshot s = sample_day();
	struct pw_wires w = sample_work(&s);

	(void)state;
	draw("/installer", &s, "");
	assert_int_equal(count_of("<article class=\"wire\">"), PW_EXTRA + 1);
	has("Chatters: many pulses too short to settle.");
	has("<b>11</b> under 10 ms");
	has("<b>3</b> under 20 ms");
	has("<dd>7 ms</dd>");
	has("They agree: released.");
	has("href=\"/installer?span=600\"");
	has("href=\"/installer/capture.vcd\"");
	has("Counted for 12:34.");
	w.disagree_ms = w.now_ms - 4000;
	w.wire[PW_REAR_BUTTON].verdict = PW_WIRE_BOTH_OPEN;
	w.wire[PW_REAR_BUTTON_NC].level = 0;
	draw_leaf(&drawn, "/installer", &s, &w, PW_ENGLISH, "", NULL, PW_W_NONE);
	has("They disagree, for 0:04:");
	has("Rear button reads released.");
	has("Rear button, second contact reads pressed.");
	has("both contacts read open: a broken common wire or no supply at the button" + 1);
}

/* 10 s wide, 300 units: 30 a second. It fell 6 s ago, rose 3 s ago. */
static void a_strip_shows_when_it_moved(void **state)
{
	struct pw_wire w = { .name = "x", .level = 1, .tail = 3 };
	struct pw_sheet t;

	(void)state;
	w.at_ms[0] = 0;
	w.at_ms[1] = 94000;
	w.at_ms[2] = 97000;
	pw_sheet_open(&t, drawn.buf, sizeof drawn.buf);
	pw_put_strip(&t, &w, 100000, 10000, PW_W_I_10);
	assert_true(pw_sheet_close(&t) > 0);
	has("d=\"M0 3H120V21H210V3H300\"");
	has("2 edges shown, the last 10 s");
	w.tail = PW_TAIL_MAX; /* nothing is known before the first that is kept */
	for (int i = 0; i < PW_TAIL_MAX; i++)
		w.at_ms[i] = 95000 + i;
	pw_sheet_open(&t, drawn.buf, sizeof drawn.buf);
	pw_put_strip(&t, &w, 100000, 10000, PW_W_I_10);
	has("d=\"M150 3V21");
	has("Earlier edges are no longer kept.");
}

static void the_wiring_is_walked_step_by_step(void **state)
{
	struct pw_snapshot s = sample_day();
	struct pw_wires w = sample_work(&s);

	(void)state;
	draw("/installer/wiring", &s, "");
	has("value=\"begin\"");
	lacks("value=\"next\"");
	sample_walk(&w);
	draw_leaf(&drawn, "/installer/wiring", &s, &w, PW_ENGLISH, "", NULL, PW_W_NONE);
	has("Step 5 of 6");
	has("<h2>Open the rear door.</h2>");
	has("Saw: nothing on rear_door yet.");
	has("Saw: nothing on rear_button, 3 edges on service_door: are they swapped?");
	has("value=\"next\"");
	has("value=\"again\"");
	has("value=\"skip\"");
	lacks("value=\"begin\"");
	draw_leaf(&drawn, "/installer/setup", &s, &w, PW_ENGLISH, "", NULL, PW_W_NONE);
	lacks("name=\"who\"");
	has("The record is signed when every step has a result or was skipped.");
	w.wiring.at = w.wiring.steps;
	draw_leaf(&drawn, "/installer/wiring", &s, &w, PW_ENGLISH, "", NULL, PW_W_NONE);
	has("Every step has been judged.");
	lacks("value=\"next\"");
	draw_leaf(&drawn, "/installer/setup", &s, &w, PW_ENGLISH, "", NULL, PW_W_NONE);
	has("No set-up record has been signed yet.");
	has("name=\"who\"");
	w.wiring.on = false;
	s.day.setup.wall_ms = s.wall_ms;
	snprintf(s.day.setup.who, sizeof s.day.setup.who, "i-9");
	draw_leaf(&drawn, "/installer/setup", &s, &w, PW_ENGLISH, "", NULL, PW_W_NONE);
	has("Last signed by i-9,");
	lacks("name=\"who\"");
}

/* Pages with fields stay still; live ones follow. Those behind a PIN do so by the script alone, which
 * knows whether somebody is there: a session that nobody sits at must end. */
static void live_pages_follow(void **state)
{
	struct pw_snapshot s = sample_day();

	(void)state;
	for (size_t i = 0; i < sizeof looks / sizeof looks[0]; i++) {
		draw(looks[i].path, &s, looks[i].query);
		bool live = strstr(drawn.buf, "/page.js") != NULL;

		assert_int_equal(strstr(drawn.buf, "http-equiv=\"refresh\"") != NULL,
				 live && leaf_at(looks[i].path)->role == PW_NOBODY);
		assert_int_equal(live, leaf_at(looks[i].path)->follows);
		if (live && (strstr(drawn.buf, "<input id=") || strstr(drawn.buf, "<select")))
			fail_msg("%s follows and has a field", looks[i].path);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_page_is_whole_in_every_language),
		cmocka_unit_test(a_refusal_is_shown_on_its_page),
		cmocka_unit_test(a_refusal_has_a_page_of_its_own),
		cmocka_unit_test(the_worst_fits),
		cmocka_unit_test(too_small_a_buffer_is_told),
		cmocka_unit_test(a_visit_is_light),
		cmocka_unit_test(others_words_are_escaped),
		cmocka_unit_test(the_choices_lead_back),
		cmocka_unit_test(what_is_left_to_prove_comes_first),
		cmocka_unit_test(all_proven_says_so_and_nothing_more),
		cmocka_unit_test(why_a_signal_is_not_tried),
		cmocka_unit_test(a_find_takes_two_taps),
		cmocka_unit_test(a_found_child_comes_before_all),
		cmocka_unit_test(the_office_has_heard_of_a_child),
		cmocka_unit_test(the_report_lists_what_is_open),
		cmocka_unit_test(a_pin_is_asked_for_whom),
		cmocka_unit_test(an_error_is_tied_to_its_field),
		cmocka_unit_test(what_was_typed_is_kept_but_for_the_pin),
		cmocka_unit_test(service_is_shown_with_its_end),
		cmocka_unit_test(the_installer_sees_each_line),
		cmocka_unit_test(a_strip_shows_when_it_moved),
		cmocka_unit_test(the_wiring_is_walked_step_by_step),
		cmocka_unit_test(live_pages_follow),
	};

	return cmocka_run_group_tests_name("page: with forms", tests, NULL, NULL);
}
