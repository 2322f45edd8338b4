/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A copied board goes on with the key, bus and epoch of the one it was copied from. Each of the two
 * journals is sound by itself; side by side they hold different records from one seq on.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "verify_internal.h"

struct pw_branch_record {
	uint64_t seq;
	char hash[64];
};

int pw_branch_add(struct pw_branch *b, const struct pw_record *r)
{
	if (b->count > 0 && r->seq <= b->record[b->count - 1].seq)
		return 0;
	if (b->count == b->room) {
		size_t room = b->room ? b->room * 2 : 1024;
		struct pw_branch_record *more = realloc(b->record, room * sizeof(*more));

		if (!more)
			return -1;
		b->record = more;
		b->room = room;
	}
	b->record[b->count].seq = r->seq;
	memcpy(b->record[b->count].hash, r->hash, sizeof(b->record[0].hash));
	b->count++;
	return 0;
}

int pw_branch_name(struct pw_branch *b, const char *name, const char *bus, const char *epoch)
{
	b->name = strdup(name);
	snprintf(b->bus, sizeof(b->bus), "%s", bus);
	snprintf(b->epoch, sizeof(b->epoch), "%s", epoch);
	if (b->name)
		return 0;
	fprintf(stderr, "%s: no memory to compare it with the others\n", name);
	return -1;
}

void pw_branch_free(struct pw_branch *b)
{
	free(b->name);
	free(b->record);
}

/* -- side by side ------------------------------------------------------------------------------ */

/* Up to where both hold the same; differs: the first seq at which they do not. 0: none. */
struct common {
	uint64_t first, last, differs;
};

static struct common compare(const struct pw_branch *a, const struct pw_branch *b)
{
	struct common c = { 0 };

	for (size_t i = 0, k = 0; i < a->count && k < b->count;) {
		const struct pw_branch_record *x = &a->record[i], *y = &b->record[k];

		if (x->seq != y->seq) {
			i += x->seq < y->seq;
			k += y->seq < x->seq;
			continue;
		}
		if (memcmp(x->hash, y->hash, sizeof(x->hash)) != 0) {
			c.differs = x->seq;
			break;
		}
		c.first = c.first ? c.first : x->seq;
		c.last = x->seq;
		i++;
		k++;
	}
	return c;
}

/* The one that ends first is the older, or its bus was put back to an older copy. */
static void say_same(const struct pw_branch *a, const struct pw_branch *b, const struct common *c)
{
	const uint64_t a_last = a->record[a->count - 1].seq, b_last = b->record[b->count - 1].seq;
	const struct pw_branch *shorter = a_last < b_last ? a : b, *longer = a_last < b_last ? b : a;

	printf("the same records from seq %" PRIu64 " to %" PRIu64, c->first, c->last);
	if (a_last != b_last)
		printf("; %s goes on to %" PRIu64 ". If %s was taken after it, an older copy was put back",
		       longer->name, longer->record[longer->count - 1].seq, shorter->name);
	putchar('\n');
}

bool pw_branch_compare(const struct pw_branch *a, const struct pw_branch *b)
{
	struct common c;

	if (!a->name || !b->name || a->count == 0 || b->count == 0 ||
	    strcmp(a->bus, b->bus) != 0 || strcmp(a->epoch, b->epoch) != 0)
		return false;
	c = compare(a, b);
	printf("%s and %s: bus %s, epoch %s: ", a->name, b->name, a->bus, a->epoch);
	if (c.differs)
		printf("two branches from seq %" PRIu64 ": there each holds another record. A board "
		       "or its journal was copied and both went on, or one of the two was changed\n",
		       c.differs);
	else if (c.last)
		say_same(a, b, &c);
	else
		printf("no seq stands in both, so they cannot be compared\n");
	return c.differs != 0;
}
