/* SPDX-License-Identifier: Apache-2.0 */
#include "uplink_internal.h"

#define FIRST_MS INT64_C(2000)
#define MOST_MS (15 * 60 * INT64_C(1000))
#define ALERT_MOST_MS INT64_C(30000)

int64_t pw_backoff_ms(unsigned n, bool alert, int asked_s, uint32_t random)
{
	const int64_t most_ms = alert ? ALERT_MOST_MS : MOST_MS;
	int64_t span_ms = FIRST_MS << (n < 16 ? n : 16);

	if (span_ms > most_ms)
		span_ms = most_ms;
	return (asked_s > 0 ? asked_s * INT64_C(1000) : 0)
	       + (int64_t)((uint64_t)span_ms * random / UINT32_MAX);
}
