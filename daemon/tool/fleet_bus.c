/* SPDX-License-Identifier: Apache-2.0 */
/* The buses of the made-up district: what they are, which policy they have, who drives them. */
#include <sodium.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "fleet_internal.h"
#include "postwalk/text.h"
#include "tool_internal.h"

#define YARD_BUSES 24
#define YARD_SCHOOLS 4

/* Rows and aisle in metres: docs/sources.md, B7 (28 in a row). Shares are made up. */
static const struct { uint32_t percent; unsigned rows; const char *aisle_m; } bodies[] = {
	{ 35, 13, "9.24" }, { 35, 12, "8.53" }, { 20, 8, "5.69" }, { 10, 5, "3.57" },
};

/* Yards take turns. */
static const struct yard {
	const char *sweep; /* keys of that section */
	bool brake, lamps, battery_switch;
} yards[] = {
	{ "due_s = 60\ncarried_due_s = 45\nowed_when = run\nrun_min_s = 60\nidle_s = 300\n",
	  true, false, false },
	{ "due_s = 75\ncarried_due_s = 60\nowed_when = every_key_off\n", false, false, true },
	{ "due_s = 90\ncarried_due_s = 60\nowed_when = lamps\n", true, true, false },
};

static const char *const shares_of_shifts = "000000000112"; /* two runs, four, three */

/* -- the policy, as text ----------------------------------------------------------------------- */

struct text { char *at; size_t left; };

__attribute__((format(printf, 2, 3)))
static void add(struct text *t, const char *format, ...)
{
	va_list args;
	int n;

	va_start(args, format);
	n = vsnprintf(t->at, t->left, format, args);
	va_end(args);
	if (n < 0 || (size_t)n >= t->left)
		n = 0;
	t->at += n;
	t->left -= (size_t)n;
}

static void add_line(struct text *t, const char *name, unsigned offset, bool low, const char *more)
{
	add(t, "\n[line %s]\nchip = gpiochip0\noffset = %u\n%s%s", name, offset,
	    low ? "active_low = yes\nbias = pull_up\n" : "", more);
}

static void add_lines(struct text *t, const struct yard *yard)
{
	add_line(t, "ignition", 4, true, "");
	if (yard->brake)
		add_line(t, "park_brake", 5, true, "");
	add_line(t, "rear_button", 6, true, "");
	add_line(t, "rear_button_nc", 12, true, "");
	add_line(t, "rear_door", 13, false, "bias = pull_up\n");
	add_line(t, "exits", 16, false, "bias = pull_up\n");
	add_line(t, "service_door", 17, false, "bias = pull_up\n");
	if (yard->lamps)
		add_line(t, "lamps", 22, true, "");
	add_line(t, "beeper", 23, false, "sense = beeper_heard\n");
	add_line(t, "horn", 24, false, "");
	add_line(t, "lamp", 25, false, "");
	add_line(t, "dome", 26, false, "");
	add_line(t, "beeper_heard", 20, true, "direction = in\n");
}

static void write_policy(const struct pw_fleet_bus *b, unsigned body, const struct yard *yard,
			 struct text *t)
{
	add(t, "# A made-up bus of a made-up district.\n[bus]\nid = %s\n\n", b->id);
	add(t, "[yard]\ncall = Radio the dispatcher of yard %s on channel 1, or call the emergency "
	    "number.\n\n", b->yard);
	add(t, "[walk]\nrows = %u\naisle_m = %s\npace_mps = 1.07\nlook_s = 0.5\n\n",
	    bodies[body].rows, bodies[body].aisle_m);
	add(t, "[sweep]\n%srestart_s = 10\ndoor_rule = grace\nleave_grace_s = 30\n", yard->sweep);
	add_lines(t, yard);
}

static int lay_policy(struct pw_fleet_bus *b, unsigned body, const struct yard *yard, char *why,
		      size_t size)
{
	struct text t = { .at = b->text, .left = sizeof(b->text) };
	struct iovec whole = { .iov_base = b->text };

	write_policy(b, body, yard, &t);
	whole.iov_len = strlen(b->text);
	pw_sha256_hex(&whole, 1, b->hash);
	return pw_policy_read(b->text, &b->policy, why, size);
}

/* -- the bus ----------------------------------------------------------------------------------- */

static unsigned draw_body(struct pw_chance *c)
{
	int64_t drawn = pw_chance_in(c, 0, 99);
	unsigned i = 0;

	while ((drawn -= bodies[i].percent) >= 0)
		i++;
	return i;
}

static void draw_key(const struct pw_fleet *f, unsigned index, struct pw_secret_key *key)
{
	struct pw_chance c = pw_chance_begin(f->seed, PW_OF_KEY, index, 0);
	unsigned char seed[32];

	for (unsigned i = 0; i < sizeof(seed); i++)
		seed[i] = (unsigned char)pw_chance_next(&c);
	pw_secret_key_from(seed, key);
}

void pw_fleet_bus_name(unsigned index, char id[PW_NAME_MAX])
{
	snprintf(id, PW_NAME_MAX, "T-%04u", index + 1);
}

static void name(struct pw_fleet_bus *b, unsigned school)
{
	const unsigned yard = b->index / YARD_BUSES;

	pw_fleet_bus_name(b->index, b->id);
	snprintf(b->yard, sizeof(b->yard), "Y-%02u", yard + 1);
	snprintf(b->route, sizeof(b->route), "R-%u", 101 + b->index);
	snprintf(b->driver, sizeof(b->driver), "D-%u", 1001 + b->index);
	snprintf(b->school, sizeof(b->school), "S-%u", 11 + yard * YARD_SCHOOLS + school);
}

int pw_fleet_bus_make(const struct pw_fleet *f, unsigned index, struct pw_fleet_bus *b, char *why,
		      size_t size)
{
	struct pw_chance c = pw_chance_begin(f->seed, PW_OF_BUS, index, 0);
	const struct yard *yard = &yards[index / YARD_BUSES % (sizeof(yards) / sizeof(yards[0]))];
	unsigned body = draw_body(&c);

	memset(b, 0, sizeof(*b));
	b->index = index;
	b->shift = (unsigned)(shares_of_shifts[pw_chance_in(&c, 0, 11)] - '0');
	b->later_min = 5 * pw_chance_in(&c, 0, 5);
	b->battery_switch = yard->battery_switch;
	b->habits.walk_percent = pw_chance_bell(&c, 104, 170);
	b->habits.return_percent = pw_chance_bell(&c, 115, 190);
	b->habits.key_ms = pw_chance_bell(&c, 1500, 5000);
	b->habits.tells_percent = (uint32_t)pw_chance_in(&c, 25, 95);
	name(b, (unsigned)pw_chance_in(&c, 0, YARD_SCHOOLS - 1));
	draw_key(f, index, &b->key);
	return lay_policy(b, body, yard, why, size);
}

void pw_fleet_epoch(const struct pw_fleet *f, unsigned index, bool second, char epoch[17])
{
	struct pw_chance c = pw_chance_begin(f->seed, PW_OF_EPOCH, index, second);

	snprintf(epoch, 17, "%016llx", (unsigned long long)pw_chance_next(&c));
}
