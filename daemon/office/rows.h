/* SPDX-License-Identifier: Apache-2.0 */
/* rows.h - a row as an address has it: of the page of its sweep, with its key. */
#ifndef POSTWALK_OFFICE_ROWS_H
#define POSTWALK_OFFICE_ROWS_H

#include "web.h"

#define PW_ROW_ASKS "bus day run epoch branch seq" /* the fields of a key */
#define PW_ROW_ADDRESS 480

/* "/sweep?bus=14&day=2026-11-24&run=AM1"; of a stop without a run epoch, branch and seq in its place. */
void pw_row_address(const struct pw_audit_key *key, char address[PW_ROW_ADDRESS]);
/* Their codes, spaces between, for pw_cell_put_words. */
#define PW_ROW_FINDINGS 512
const char *pw_row_findings(uint32_t findings, char text[PW_ROW_FINDINGS]);
/* RFC 3986, 2.3: what is not unreserved, by its bytes. Added to what is there; what does not fit is left out. */
void pw_address_add(char *to, size_t size, const char *text);

#endif
