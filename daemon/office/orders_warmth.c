/* SPDX-License-Identifier: Apache-2.0 */
/* Temperatures out of a file, by the shell. */
#include <errno.h>
#include <string.h>

#include "commands_internal.h"
#include "warmth.h"

static int take(struct pw_order *c, const struct pw_warmths *w, const char *path)
{
	struct pw_warmth_taking taking = { .w = w, .source = c->source,
					   .who = c->by ? c->by : "shell",
					   .file = path, .now_ms = pw_office_now_ms() };
	int status = w->rows ? pw_order_desk(c, pw_warmth_take, &taking) : PW_EXIT_OK;

	if (status)
		return status;
	pw_warmth_say(PW_ENGLISH, w, w->notes, c->out);
	fputc('\n', c->out);
	return w->notes ? PW_EXIT_BAD : PW_EXIT_OK;
}

static int read_and_take(struct pw_order *c, const struct pw_zone *zone, const char *path, FILE *f)
{
	struct pw_warmths *w;
	char why[200];
	int result = pw_warmth_read(f, zone, &w, why, sizeof(why));

	if (result)
		return result == -1 ? pw_order_not(c, "%s: %s", path, why)
				    : pw_order_bad(c, "%s: %s", path, why);
	result = take(c, w, path);
	pw_warmths_free(w);
	return result;
}

int pw_do_warmth(struct pw_order *c)
{
	struct pw_zone *zone;
	char path[4096], why[200];
	FILE *f;
	int status;

	if (!pw_warmth_source_ok(c->source))
		return pw_order_bad(c,
				    "expected --source of 1 to 100 bytes on one line: where the figures "
				       "are from");
	pw_order_path(c, c->argv[1], path, sizeof(path));
	f = fopen(path, "r");
	if (!f)
		return pw_order_bad(c, "%s: expected a CSV file: %s", path, strerror(errno));
	status = pw_zone_open(c->o->conf.zone, &zone, why, sizeof(why));
	if (status) {
		fclose(f);
		return pw_order_not(c, "%s", why);
	}
	status = read_and_take(c, zone, path, f);
	pw_zone_free(zone);
	fclose(f);
	return status;
}
