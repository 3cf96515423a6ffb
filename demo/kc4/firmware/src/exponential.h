/* e to the x, single precision, for any x. Relative error under 3e-7 where the result is a normal number; below the
   normal range it gives 0 and above it the largest finite number. */
#ifndef KC4_EXPONENTIAL_H
#define KC4_EXPONENTIAL_H

float exponential(float x);

#endif
