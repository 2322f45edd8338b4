/* SPDX-License-Identifier: Apache-2.0 */
#include <ctype.h>
#include <inttypes.h>
#include <string.h>

#include "rows.h"

void pw_address_add(char *to, size_t size, const char *text)
{
	size_t used = strlen(to);

	for (; *text != '\0' && used + 4 <= size; text++) {
		const unsigned char c = (unsigned char)*text;

		if (isalnum(c) || strchr("-._~", c))
			used += (size_t)snprintf(to + used, size - used, "%c", c);
		else
			used += (size_t)snprintf(to + used, size - used, "%%%02X", c);
	}
}

void pw_row_address(const struct pw_audit_key *key, char address[PW_ROW_ADDRESS])
{
	size_t used;

	strcpy(address, "/sweep?bus=");
	pw_address_add(address, PW_ROW_ADDRESS, key->bus);
	used = strlen(address);
	used += (size_t)snprintf(address + used, PW_ROW_ADDRESS - used, "&day=%04d-%02d-%02d",
				 key->day / 10000, key->day / 100 % 100, key->day % 100);
	if (key->run[0] == '\0') {
		snprintf(address + used, PW_ROW_ADDRESS - used,
			 "&epoch=%s&branch=%" PRIu32 "&seq=%" PRIu64, key->epoch, key->branch,
			 key->seq);
		return;
	}
	strcpy(address + used, "&run=");
	pw_address_add(address, PW_ROW_ADDRESS, key->run);
}

const char *pw_row_findings(uint32_t findings, char text[PW_ROW_FINDINGS])
{
	size_t used = 0;

	text[0] = '\0';
	for (unsigned i = 0; i < PW_FINDINGS && used < PW_ROW_FINDINGS; i++)
		if (findings >> i & 1)
			used += (size_t)snprintf(text + used, PW_ROW_FINDINGS - used, "%s%s",
						 used ? " " : "", pw_finding_name((enum pw_finding)i));
	return text;
}
