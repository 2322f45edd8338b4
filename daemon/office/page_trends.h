/* SPDX-License-Identifier: Apache-2.0 */
/* page_trends.h - what the files of the page of trends share: what was asked, and what was
 * found. */
#ifndef POSTWALK_OFFICE_PAGE_TRENDS_H
#define POSTWALK_OFFICE_PAGE_TRENDS_H

#include "trends.h"
#include "web.h"

/* By what groups are made. */
struct pw_trends_kind {
	const char *name;            /* as the address has it; of /sweeps as well, where it has one */
	enum pw_tally_by by;
	enum pw_phrase word, looks;  /* "bus", "3 buses" */
	bool ordered;                /* by name, not by how far outside */
	bool days;                   /* its tallies are there day by day */
};

#define PW_TRENDS_POLICY 16384
struct pw_trends_page {
	struct pw_asked *q;
	struct pw_report *r;
	const struct pw_trends_kind *kind;
	enum pw_trends_of of;
	int32_t span;                /* YYYYMM00, or YYYY0000 */
	const char *name;            /* one of them; "": all */
	size_t first;                /* row of the table on this page */
	struct pw_trends groups;
	struct pw_tally all;         /* what is in none of the groups among it */
	struct pw_trends_series series;
	struct pw_trends_chart chart;
	struct pw_spread press, leaving; /* of one bus */
	char policy[PW_TRENDS_POLICY];
};

/* The address of this page of another one, or of all (""). */
#define PW_TRENDS_ADDRESS 600
void pw_trends_address(const struct pw_trends_page *p, const char *name,
		       char address[PW_TRENDS_ADDRESS]);
const char *pw_trends_span_words(struct pw_trends_page *p);

void pw_trends_groups_say(struct pw_trends_page *p); /* page_trends_groups.c */
void pw_trends_time_say(struct pw_trends_page *p);   /* page_trends_time.c: charts */
void pw_trends_times_say(struct pw_trends_page *p);  /* page_trends_times.c: from key-off on */
void pw_trends_example_say(struct pw_report *r);     /* page_trends_example.c */

#endif
