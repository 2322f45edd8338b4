/* SPDX-License-Identifier: Apache-2.0 */
/* Who stands at the installer's or the mechanic's page. By the boot clock: in suspend it idles. */
#include <sodium.h>
#include <stdio.h>
#include <string.h>

#include "bus_internal.h"

#define SESSION_BYTES 32 /* 256 bits */

void pw_session_open(struct pw_bus *b, enum pw_role role)
{
	unsigned char random[SESSION_BYTES];

	pw_session_end(b);
	randombytes_buf(random, sizeof(random));
	sodium_bin2hex(b->session.id, sizeof(b->session.id), random, sizeof(random));
	sodium_memzero(random, sizeof(random));
	b->session.role = role;
	b->session.seen_ms = b->now_ms;
}

void pw_session_end(struct pw_bus *b)
{
	sodium_memzero(&b->session, sizeof(b->session));
	b->session.role = PW_NOBODY;
	memset(&b->wires.wiring, 0, sizeof(b->wires.wiring));
}

int64_t pw_session_left_ms(const struct pw_bus *b)
{
	if (b->session.id[0] == '\0')
		return 0;
	return b->session.seen_ms + PW_SESSION_IDLE_MS - b->now_ms;
}

static bool is_open(struct pw_bus *b)
{
	if (b->session.id[0] != '\0' && pw_session_left_ms(b) <= 0)
		pw_session_end(b);
	return b->session.id[0] != '\0';
}

/* Of equal length whatever was sent, so that the time taken tells nothing. */
static bool is_this(const struct pw_bus *b, const char *id)
{
	char sent[PW_SESSION_MAX] = "";

	snprintf(sent, sizeof(sent), "%s", id);
	return sodium_memcmp(sent, b->session.id, sizeof(sent)) == 0;
}

bool pw_session_is(struct pw_bus *b, const char *id, enum pw_role role)
{
	return is_open(b) && is_this(b, id) && (role == PW_NOBODY || role == b->session.role);
}

bool pw_session_taken(struct pw_bus *b, const char *id)
{
	return is_open(b) && !is_this(b, id);
}

void pw_session_touch(struct pw_bus *b)
{
	b->session.seen_ms = b->now_ms;
}
