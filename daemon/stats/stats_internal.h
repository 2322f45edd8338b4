/* SPDX-License-Identifier: Apache-2.0 */
/* stats_internal.h - distributions: what the files of the arithmetic share. */
#ifndef POSTWALK_STATS_INTERNAL_H
#define POSTWALK_STATS_INTERNAL_H

#include <math.h>

#include "postwalk/stats.h"

#define PW_PI 3.14159265358979323846

/* Both tails, so that the small one keeps its digits. */
struct pw_tails { double below, above, density; };

/* -- normal.c -------------------------------------------------------------------------------- */

struct pw_tails pw_normal(double z);
double pw_normal_z(double above); /* with that much above it; 0 < above < 1 */
/* The tail on either side of an interval of that level; NAN: the level is not in (0, 1). */
double pw_outside(double level);

/* -- point.c: chances of single counts; k, n and their kin need not be whole ----------------- */

double pw_point_binomial(double k, double n, double p, double q); /* q = 1 - p */
double pw_point_poisson(double k, double mean);

/* -- beta.c, gamma.c: shapes above 0; good to 1e-12 for shapes from 1/2 to 10 million -------- */

struct pw_tails pw_beta(double x, double a, double b);
struct pw_tails pw_gamma(double x, double shape); /* of scale 1 */
/* The x with that much below it (above it, when upper); 0 < tail < 1. */
double pw_beta_x(double tail, bool upper, double a, double b);
double pw_gamma_x(double tail, bool upper, double shape);
double pw_chi_square_above(double x, unsigned freedom);

/* -- law.c: how counts fall by chance: binomial, or Poisson with n = INFINITY ---------------- */

struct pw_law { double n, p, mean; }; /* mean = n * p; p has no meaning for Poisson */
/* below: of k or fewer; above: of more than k; density: of k itself. k is whole, -1 or more. */
struct pw_tails pw_law(const struct pw_law *law, double k);
double pw_law_test(const struct pw_law *law, double x); /* two-sided p-value of x */

/* -- fraction.c: b0 + a1 / (b1 + a2 / (b2 + ...)) with terms above 0 ------------------------- */

struct pw_term { double a, b; };
double pw_fraction(struct pw_term (*term)(const double *with, double n), const double *with);

/* -- solve.c: where a tail is so much, between low and high ---------------------------------- */

struct pw_curve { struct pw_tails (*at)(double x, double a, double b); double a, b; };
double pw_solve(const struct pw_curve *c, double tail, bool upper, struct pw_interval within,
		double first);

/* -- summary.c ------------------------------------------------------------------------------- */

double pw_mean(const double *value, size_t n);
double pw_sd(const double *value, size_t n, double mean);


#endif
