/* SPDX-License-Identifier: Apache-2.0 */
/* The pages of the office, in the order of their list; and files that never change. */
#include <string.h>

#include "sweeps.h"
#include "web_internal.h"

extern const char pw_office_style[], pw_office_pictures[]; /* web.S */

#define SEE PW_MAY_SEE
#define ACT PW_MAY_ACT
#define ADMINISTER PW_MAY_ADMINISTER
#define ANYBODY PW_MAY_NOTHING

/* What has no about is not for the shell. */
const struct pw_leaf pw_leaves_office[] = {
	{ "/", PW_P_MORNING, SEE, ACT, "matter all", "matter words", pw_morning_get, pw_morning_post,
	  "what needs a person this morning, and what the office cannot know", NULL },
	{ "/sweeps", PW_P_SWEEPS_NAME, SEE, SEE, PW_SWEEPS_ASKS, "", pw_sweeps_get, NULL,
	  "what became of each run and each stop", NULL },
	{ "/sweep", PW_P_NONE, SEE, ACT, PW_ROW_ASKS, PW_ROW_ASKS " result words", pw_sweep_get,
	  pw_sweep_post, "one of them: drawn, judged rule by rule, its records", NULL },
	{ "/runs", PW_P_RUNS, SEE, ACT, "from to bus route result behind all", "sheet partly",
	  pw_runs_get, pw_runs_post, "what was planned, and what became of it; run sheets", NULL },
	{ "/heat", PW_P_HEAT_NAME, SEE, ACT, "from to", "file source", pw_heat_get, pw_heat_post,
	  "how bad was it: missed sweeps by time and temperature", NULL },
	{ "/trends", PW_P_TRENDS_NAME, SEE, SEE, "by span count step name page example", "",
	  pw_trends_get, NULL, "shares by bus, driver code, route, hour or weekday, and over time",
	  NULL },
	{ "/drift", PW_P_DRIFT_NAME, SEE, SEE, "bus line to", "", pw_drift_get, NULL,
	  "lines that bounce, chatter or disagree more than they did", NULL },
	{ "/pack", PW_P_PACK_NAME, SEE, SEE, "from to buses", "", pw_pack_get, NULL, NULL, NULL },
	{ "/pack.zip", PW_P_NONE, SEE, SEE, "from to buses", "", pw_pack_get, NULL, NULL, pw_pack_file },
	{ "/keeping", PW_P_KEEPING_NAME, ACT, ACT, "", "what bus from to words id kind before sure",
	  pw_keeping_get, pw_keeping_post,
	  "how long things are kept, holds, and what was purged", NULL },
	{ "/people", PW_P_PEOPLE_NAME, ADMINISTER, ADMINISTER, "",
	  "what code role fresh account words days hash", pw_people_get, pw_people_post,
	  "accounts, what each may, and programs' tokens", NULL },
	{ "/log", PW_P_LOG_NAME, ADMINISTER, ADMINISTER, "from to who did", "", pw_log_get, NULL,
	  "who looked at what, and who did what", NULL },
	{ "/sign-in", PW_P_NONE, ANYBODY, ANYBODY, "then", "code password then", pw_sign_in_get,
	  pw_sign_in_post, NULL, NULL },
	{ "/sign-out", PW_P_NONE, SEE, SEE, "", "", pw_sign_out_get, pw_sign_out_post, NULL, NULL },
	{ "/password", PW_P_NONE, SEE, SEE, "", "now new again", pw_password_get, pw_password_post,
	  NULL, NULL },
};
const size_t pw_leaves_office_count = sizeof(pw_leaves_office) / sizeof(pw_leaves_office[0]);

const struct pw_still pw_stills[] = {
	{ "/style.css", "text/css; charset=utf-8", pw_office_style },
	{ "/pictures.js", "text/javascript; charset=utf-8", pw_office_pictures },
	{ NULL, NULL, NULL },
};

const struct pw_leaf *pw_leaf_at(const char *path)
{
	for (size_t i = 0; i < pw_leaves_office_count; i++)
		if (strcmp(pw_leaves_office[i].path, path) == 0)
			return &pw_leaves_office[i];
	return NULL;
}
