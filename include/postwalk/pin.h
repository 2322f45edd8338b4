/* SPDX-License-Identifier: Apache-2.0 */
/*
 * pin.h - who may open the installer's and the mechanic's pages.
 *
 * A PIN is kept as an argon2id text (RFC 9106, by libsodium) in STATE/pin.ROLE, 0600; wrong tries in
 * STATE/pin.ROLE.tries, so that back-off survives a restart. These functions read, write and sync
 * files and take 16 MiB and a good part of a second: never call them from the watch's own loop.
 */
#ifndef POSTWALK_PIN_H
#define POSTWALK_PIN_H

#include "postwalk/policy.h"

#define PW_PIN_LEAST 6
#define PW_PIN_MAX 65 /* with the closing zero */

enum pw_role { PW_NOBODY = 1, PW_INSTALLER, PW_MECHANIC, PW_ROLES };

enum pw_pin_answer {
	PW_PIN_RIGHT = 1,
	PW_PIN_WRONG,  /* counted; wait_ms: until the next try is looked at */
	PW_PIN_WAIT,   /* not looked at: too soon after wrong ones; wait_ms */
	PW_PIN_NONE,   /* none has been set for this role */
	PW_PIN_TROUBLE /* files or memory: why */
};

const char *pw_role_name(enum pw_role role); /* "installer" */
enum pw_role pw_role_find(const char *name); /* PW_NOBODY; NULL is fine */

/* Sets it, whole or not at all, and forgets wrong tries. A PIN is PW_PIN_LEAST to PW_PIN_MAX - 1
 * printable ASCII characters that are not all the same and do not just count up or down. 0, or -1
 * with why. */
int pw_pin_set(const char *state_dir, enum pw_role role, const char *pin, char *why, size_t size);

/* The try is counted and synced before the PIN is looked at, so that cutting the power takes nothing
 * back; a right one sets the count to 0. After 3 wrong ones: 5 s, doubled with each, 15 min at most.
 * now_ms, boot_id: CLOCK_BOOTTIME of this boot; in another boot than that of the last try the wait
 * counts from that boot's beginning. */
enum pw_pin_answer pw_pin_try(const char *state_dir, enum pw_role role, const char *pin, int64_t now_ms,
			      const char *boot_id, int64_t *wait_ms, char *why, size_t size);

#endif
