/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The arithmetic against R: 1,000 random cases of each function, to 1e-9. Which function of R it is
 * stands in tests/stats/reference.R.
 */
#include "stats_table.h"

#define ROWS 1000

static struct pw_share share_of(const struct row *r, size_t i)
{
	return (struct pw_share){ (uint64_t)all(r, "x")->v[i], (uint64_t)all(r, "n")->v[i] };
}

static struct pw_rate rate_of(const struct row *r, size_t i)
{
	return (struct pw_rate){ (uint64_t)all(r, "x")->v[i], all(r, "exposure")->v[i] };
}

/* -- distributions --------------------------------------------------------------------------- */

static void normal_row(const struct row *r)
{
	struct pw_tails t = pw_normal(one(r, "z"));

	agrees(r, "below", t.below);
	agrees(r, "above", t.above);
	agrees(r, "at", pw_normal_z(one(r, "tail")));
}

static void beta_row(const struct row *r)
{
	const double a = one(r, "a"), b = one(r, "b"), tail = one(r, "tail");
	struct pw_tails t = pw_beta(one(r, "x"), a, b);

	agrees(r, "below", t.below);
	agrees(r, "above", t.above);
	agrees(r, "low", pw_beta_x(tail, false, a, b));
	agrees(r, "high", pw_beta_x(tail, true, a, b));
}

static void gamma_row(const struct row *r)
{
	const double a = one(r, "a"), tail = one(r, "tail");
	struct pw_tails t = pw_gamma(one(r, "x"), a);

	agrees(r, "below", t.below);
	agrees(r, "above", t.above);
	agrees(r, "low", pw_gamma_x(tail, false, a));
	agrees(r, "high", pw_gamma_x(tail, true, a));
}

/* -- shares and rates ------------------------------------------------------------------------ */

static void share_row(const struct row *r)
{
	const struct pw_share s = share_of(r, 0);
	const double level = one(r, "level");

	both_agree(r, "wilson", pw_share_wilson(s, level, false));
	both_agree(r, "corrected", pw_share_wilson(s, level, true));
	both_agree(r, "exact", pw_share_exact(s, level));
	agrees(r, "p", pw_share_test(s, one(r, "expected")));
}

static void shares_row(const struct row *r)
{
	struct pw_share group[8];
	const size_t groups = all(r, "x")->n;
	struct pw_shares_test t;
	bool corrected = one(r, "corrected") > 0;

	assert_true(groups <= COUNT(group));
	for (size_t i = 0; i < groups; i++)
		group[i] = share_of(r, i);
	assert_int_equal(pw_shares_test(group, groups, corrected, one(r, "level"), &t), 0);
	agrees(r, "statistic", t.statistic);
	agrees(r, "p", t.p_value);
	both_agree(r, "difference", t.difference);
	assert_int_equal(t.freedom, groups - 1);
}

static void rate_row(const struct row *r)
{
	both_agree(r, "exact", pw_rate_exact(rate_of(r, 0), one(r, "level")));
	agrees(r, "p", pw_rate_test(rate_of(r, 0), one(r, "expected")));
}

static void rates_row(const struct row *r)
{
	struct pw_rates_test t;

	assert_int_equal(pw_rates_test(rate_of(r, 0), rate_of(r, 1), one(r, "level"), &t), 0);
	agrees(r, "ratio", t.ratio);
	agrees(r, "p", t.p_value);
	both_agree(r, "interval", t.interval);
}

/* -- funnels and charts ---------------------------------------------------------------------- */

static void funnel_row(const struct row *r)
{
	const double target = one(r, "target"), level = one(r, "level");
	const uint64_t n = (uint64_t)one(r, "n");

	both_agree(r, "normal", pw_funnel_normal(target, n, level));
	both_agree(r, "exact", pw_funnel_exact(target, n, level));
}

static void chart_row(const struct row *r)
{
	struct pw_chart_point point[VALUES_MAX] = { 0 };
	const size_t n = all(r, "count")->n;
	struct pw_chart c;

	for (size_t i = 0; i < n; i++) {
		point[i].count = all(r, "count")->v[i];
		point[i].size = all(r, "size")->v[i];
	}
	assert_int_equal(pw_chart((enum pw_chart_kind)one(r, "kind"), NAN, point, n, &c), 0);
	agrees(r, "mean", c.mean);
	agrees(r, "dispersion", c.dispersion);
	agrees(r, "p", c.dispersion_p);
	agrees(r, "sigmas", point[0].sigmas);
	agree(r, "limits", (double[]){ point[0].lower, point[0].upper }, 2);
}

static void runs_row(const struct row *r)
{
	struct pw_chart_point point[VALUES_MAX] = { 0 };
	double rules[VALUES_MAX];
	const size_t n = all(r, "z")->n;

	for (size_t i = 0; i < n; i++)
		point[i].value = point[i].sigmas = all(r, "z")->v[i];
	pw_runs(pw_run_rules, PW_RUN_RULES, point, n);
	for (size_t i = 0; i < n; i++)
		rules[i] = point[i].rules;
	agree(r, "rules", rules, n);
}

/* -- looks, distributions of times, drift, trend --------------------------------------------- */

static void looks_row(const struct row *r)
{
	static const struct { const char *field; enum pw_adjustment method; } by[] = {
		{ "bonferroni", PW_BONFERRONI }, { "holm", PW_HOLM },
		{ "bh", PW_BENJAMINI_HOCHBERG },
	};
	const struct field *p = all(r, "p");
	double adjusted[VALUES_MAX];

	for (size_t i = 0; i < COUNT(by); i++) {
		assert_int_equal(pw_adjust(by[i].method, p->v, p->n, adjusted), 0);
		agree(r, by[i].field, adjusted, p->n);
	}
	memcpy(adjusted, p->v, sizeof(adjusted)); /* in place */
	assert_int_equal(pw_adjust(PW_BENJAMINI_HOCHBERG, adjusted, p->n, adjusted), 0);
	agree(r, "bh", adjusted, p->n);
	agrees(r, "alarm", pw_false_alarm((uint64_t)one(r, "looks"), p->v[0]));
}

static void summary_row(const struct row *r)
{
	const struct field *value = all(r, "value");
	struct pw_summary s;

	assert_int_equal(pw_summary(value->v, value->n, &s), 0);
	agree(r, "quantiles",
	      (double[]){ s.least, s.q05, s.q25, s.median, s.q75, s.q95, s.most }, 7);
	agrees(r, "mean", s.mean);
	agrees(r, "sd", s.sd);
	assert_int_equal(s.n, value->n);
}

static void drift_row(const struct row *r)
{
	const struct field *before = all(r, "before"), *value = all(r, "value");
	struct pw_drift d;

	assert_int_equal(pw_drift_begin(before->v, before->n, 1, &d), 0);
	for (size_t i = 0; i < value->n; i++)
		pw_drift_day(&d, value->v[i]);
	agrees(r, "sigma", d.sigma);
	agrees(r, "cusum", d.cusum);
	agrees(r, "ewma", d.ewma);
	agrees(r, "days", d.days);
}

static void trend_row(const struct row *r)
{
	static double scratch[VALUES_MAX * (VALUES_MAX + 1) / 2];
	const struct field *x = all(r, "x");
	struct pw_trend t;

	assert_int_equal(pw_trend(x->v, all(r, "y")->v, x->n, scratch, &t), 0);
	agrees(r, "slope", t.slope);
	agrees(r, "at_zero", t.at_zero);
	agrees(r, "tau", t.tau);
	agrees(r, "p", t.p_value);
}

/* -- every table is a test ------------------------------------------------------------------- */

struct table { const char *name; void (*take)(const struct row *r); };

static void a_table(void **state)
{
	const struct table *t = *state;

	each_row(t->name, ROWS, t->take);
}

int main(void)
{
	static struct table tables[] = {
		{ "normal", normal_row }, { "beta", beta_row }, { "gamma", gamma_row },
		{ "share", share_row }, { "shares", shares_row }, { "rate", rate_row },
		{ "rates", rates_row }, { "funnel", funnel_row }, { "chart", chart_row },
		{ "runs", runs_row }, { "looks", looks_row }, { "summary", summary_row },
		{ "drift", drift_row }, { "trend", trend_row },
	};
	struct CMUnitTest tests[COUNT(tables)];

	for (size_t i = 0; i < COUNT(tables); i++)
		tests[i] = (struct CMUnitTest){ .name = tables[i].name, .test_func = a_table,
						.initial_state = &tables[i] };
	return cmocka_run_group_tests_name("the arithmetic as R has it", tests, NULL, NULL);
}
