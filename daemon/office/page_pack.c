/* SPDX-License-Identifier: Apache-2.0 */
/* The page that asks for a pack, and the pack as a file. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "pack.h"
#include "tell_internal.h"
#include "web.h"

int pw_pack_get(struct pw_asked *q, struct pw_report *r)
{
	const char *from = pw_asked_value(q, "from"), *to = pw_asked_value(q, "to");

	pw_report_say(r, PW_SAY_TITLE, PW_P_PACK_NAME, NULL);
	pw_report_say(r, PW_SAY_LEAD, PW_P_PACK_ABOUT, NULL);
	pw_report_form(r, "/pack.zip", true);
	pw_report_field(r, PW_FIELD_DAY, "from", PW_P_COL_FROM,
			from[0] ? from : pw_report_day(r, pw_hours_add(q->today, -30)), true);
	pw_report_field(r, PW_FIELD_DAY, "to", PW_P_COL_TO, to[0] ? to : pw_report_day(r, q->today), true);
	pw_report_field(r, PW_FIELD_TEXT, "buses", PW_P_PACK_BUSES, pw_asked_value(q, "buses"), false);
	pw_report_form_end(r, PW_P_PACK_MAKE);
	pw_report_say(r, PW_SAY_TEXT, PW_P_PACK_LARGE, NULL);
	pw_report_say(r, PW_SAY_TEXT, PW_P_PACK_LOGGED, NULL);
	pw_report_say(r, PW_SAY_CAUTION, PW_P_PACK_LIMIT_LAW, NULL);
	return 0;
}

static int judge(struct pw_asked *q, struct pw_pack_order *order)
{
	static const char *const names[] = { "from", "to" };
	int32_t day[2];

	for (size_t i = 0; i < 2; i++) {
		day[i] = pw_asked_day(q, names[i]);
		if (day[i] < 0)
			return pw_asked_wrong(q, names[i], PW_P_PACK_NO_DAY, pw_asked_value(q, names[i]));
		if (day[i] == 0)
			return pw_asked_wrong(q, names[i], PW_P_PACK_NO_DAYS, NULL);
	}
	if (day[0] > day[1])
		return pw_asked_wrong(q, "to", PW_P_PACK_BACKWARDS, NULL);
	order->from = day[0];
	order->to = day[1];
	return 0;
}

/* Beside the store, where there is room for it if anywhere, and nobody else may look. */
static int write_zip(struct pw_asked *q, const struct pw_pack_order *order, const char *name, FILE *out)
{
	char dir[320], why[240];
	int result;

	snprintf(dir, sizeof(dir), "%s/pack-XXXXXX", q->o->dir);
	if (!mkdtemp(dir)) {
		pw_office_say("page %s: there can be no folder in %s", q->leaf->path, q->o->dir);
		return -1;
	}
	result = pw_pack_write(q->o, order, dir, why, sizeof(why));
	if (result == 0)
		result = pw_pack_zip(dir, name, out, why, sizeof(why));
	pw_pack_drop(dir);
	if (result == 1)
		return pw_asked_wrong(q, "buses", PW_P_PACK_NO_BUS, why);
	if (result < 0)
		pw_office_say("page %s: %s", q->leaf->path, why);
	return result;
}

int pw_pack_file(struct pw_asked *q, FILE *out, const char **type, char name[128])
{
	struct pw_pack_order order = { .buses = pw_asked_value(q, "buses"), .tongue = q->tongue,
				       .zone = q->zone, .now_ms = q->now_ms, .who = q->who };
	char folder[64];
	int result = judge(q, &order);

	if (result)
		return result;
	snprintf(folder, sizeof(folder), "postwalk-pack-%d-%d", order.from, order.to);
	snprintf(name, 128, "%s.zip", folder);
	*type = "application/zip";
	return write_zip(q, &order, folder, out);
}
