/* SPDX-License-Identifier: Apache-2.0 */
#define PW_PHRASES_HEAT(X, N)
