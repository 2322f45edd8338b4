/* SPDX-License-Identifier: Apache-2.0 */
/* sweeps.h - what the pages of sweeps share: a filter and a key as an address has them. */
#ifndef POSTWALK_OFFICE_SWEEPS_H
#define POSTWALK_OFFICE_SWEEPS_H

#include "rows.h"

#define PW_SWEEPS_ASKS "bus driver route verdict result finding rung from to order behind"

/* 0; 1: turned down (asked). A value that is none of the choices, a day that is none. */
int pw_sweeps_filter(struct pw_asked *q, struct pw_audit_filter *f);
/* The filter's form, with the values kept. */
void pw_sweeps_form(const struct pw_asked *q, struct pw_report *r);
/* The address of the same filter; behind: the last row that was shown, or NULL. */
#define PW_SWEEPS_ADDRESS 1900
void pw_sweeps_address(const struct pw_asked *q, const struct pw_audit_key *behind,
		       char address[PW_SWEEPS_ADDRESS]);
/* A row behind which to go on. 1: there is one; 0: none is asked for; -2: it is no such. */
int pw_sweeps_behind(const struct pw_asked *q, struct pw_audit_key *key);
/* A row's key out of an address or a form. 0: there is none. */
bool pw_row_key(const struct pw_asked *q, struct pw_audit_key *key);

#endif
