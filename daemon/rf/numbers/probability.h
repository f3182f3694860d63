/* probability.h: the distributions that uncertainties are stated with: normal, Student's t, beta, chi-square of two.
   Closed forms or series to about 1e-13; nothing here is a table.  NaN in gives NaN out.  Pure, any thread. */
#ifndef TIPPLANE_RF_PROBABILITY_H
#define TIPPLANE_RF_PROBABILITY_H

/* Probability below x of a normal with mean 0 and standard deviation 1. */
double normal_below(double x);
double normal_density(double x);
/* x with normal_below(x) = p.  p 0 … 1; 0 and 1 give infinities, anything else outside NaN. */
double normal_quantile(double p);
/* Probability below t of Student's t with nu > 0 degrees of freedom; nu INFINITY: the normal. */
double student_below(double t, double nu);
/* The factor k with probability p that |t| <= k: 2.571 for p = 0.95 and nu = 5.  0 < p < 1; nu > 0, INFINITY allowed. */
double student_two_sided(double p, double nu);
/* Probability below x, 0 … 1, of the beta distribution with a > 0 and b > 0: I_x(a, b).  Of a and b up to 1e6 to 1e-10. */
double beta_below(double x, double a, double b);
/* x with beta_below(x, a, b) = p, p 0 … 1. */
double beta_quantile(double p, double a, double b);
/* The factor k with probability p that |x| <= k, of a sum x of standard deviation 1 of which `share` of the variance, 0 … 1, is rectangular
   (known by its limits alone) and the rest normal: 1.960 for share 0, 1.645 for share 1 (p = 0.95).  Several rectangular parts count as the
   one with the same fourth cumulant, sqrt(sum share_k^2). */
double rectangular_two_sided(double p, double share);
/* Radius, in standard deviations, of the circle that holds a circular normal complex number with probability p: sqrt(-2 ln(1 - p)), 2.4477
   for 0.95 (not 1.96: JCGM 102:2011). */
double circle_radius(double p);

#endif
