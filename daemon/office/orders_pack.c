/* SPDX-License-Identifier: Apache-2.0 */
/* A pack from the shell: the same, as a folder. */
#include <errno.h>
#include <string.h>
#include <sys/stat.h>

#include "commands_internal.h"
#include "pack.h"

static int judge(struct pw_order *c, struct pw_pack_order *order)
{
	order->from = pw_day_read(c->since);
	order->to = pw_day_read(c->until);
	if (!order->from || !order->to)
		return pw_order_bad(c, "expected a day as YYYY-MM-DD, not \"%.40s\"",
				    order->from ? c->until : c->since);
	if (order->from > order->to)
		return pw_order_bad(c, "expected --until a day not before --since");
	return 0;
}

static int gather(struct pw_order *c, char *buses, size_t size)
{
	size_t used = 0;

	buses[0] = '\0';
	for (int i = 2; i < c->argc; i++) {
		if (used + strlen(c->argv[i]) + 2 > size)
			return pw_order_bad(c, "expected fewer buses; with none a pack is of all");
		used += (size_t)snprintf(buses + used, size - used, "%s%s", used ? " " : "", c->argv[i]);
	}
	return 0;
}

static int write(struct pw_order *c, const struct pw_pack_order *order)
{
	char dir[512], why[240];
	int result;

	pw_order_path(c, c->argv[1], dir, sizeof(dir));
	if (mkdir(dir, 0700))
		return errno == EEXIST
			       ? pw_order_bad(c, "expected a folder that is not there yet, not %s", dir)
			       : pw_order_not(c, "%s cannot be made: %s", dir, strerror(errno));
	result = pw_pack_write(c->o, order, dir, why, sizeof(why));
	if (result == 0) {
		fprintf(c->out, "the pack is in %s; verify.txt there says how to check it\n", dir);
		return 0;
	}
	pw_pack_drop(dir);
	if (result == 1)
		return pw_order_bad(c, "expected buses that the office knows, not \"%s\"", why);
	return result == -1 ? pw_order_not(c, "%s", why) : pw_order_bad(c, "%s", why);
}

int pw_do_pack(struct pw_order *c)
{
	char buses[PW_ORDER_ARGS * PW_NAME_MAX];
	struct pw_pack_order order = { .buses = buses, .tongue = PW_ENGLISH, .who = "shell" };
	struct pw_zone *zone = NULL;
	char why[200];
	int status = judge(c, &order);

	if (status == 0)
		status = gather(c, buses, sizeof(buses));
	if (status)
		return status;
	if (pw_zone_open(c->o->conf.zone, &zone, why, sizeof(why)))
		return pw_order_not(c, "%s", why);
	order.zone = zone;
	order.now_ms = pw_office_now_ms();
	status = write(c, &order);
	pw_zone_free(zone);
	return status;
}
