/* Coefficients of the type K functions: NIST Standard Reference Database 60, type K; rising order of power.
   test/second_opinion.py compares each with the published file and with an independent package. */
#ifndef KC4_THERMOCOUPLE_K_H
#define KC4_THERMOCOUPLE_K_H

/* Direct, -270 to 0 C: mV from C. */
static const float k_direct_below_zero[] = {
    0.000000000000e+00f,  0.394501280250e-01f,  0.236223735980e-04f,  -0.328589067840e-06f,
    -0.499048287770e-08f, -0.675090591730e-10f, -0.574103274280e-12f, -0.310888728940e-14f,
    -0.104516093650e-16f, -0.198892668780e-19f, -0.163226974860e-22f,
};

/* Direct, 0 to 1372 C: mV from C, to which the bell below is added. */
static const float k_direct_above_zero[] = {
    -0.176004136860e-01f, 0.389212049750e-01f,  0.185587700320e-04f, -0.994575928740e-07f, 0.318409457190e-09f,
    -0.560728448890e-12f, 0.560750590590e-15f, -0.320207200030e-18f, 0.971511471520e-22f,  -0.121047212750e-25f,
};

/* k_bell_height * exp(k_bell_width * (C - k_bell_centre)^2), in mV. */
static const float k_bell_height = 0.118597600000e+00f;
static const float k_bell_width = -0.118343200000e-03f;
static const float k_bell_centre = 0.126968600000e+03f;

/* Inverse, -5.891 to 0 mV. */
static const float k_inverse_below_zero[] = {
    0.0000000e+00f,  2.5173462e+01f,  -1.1662878e+00f, -1.0833638e+00f, -8.9773540e-01f,
    -3.7342377e-01f, -8.6632643e-02f, -1.0450598e-02f, -5.1920577e-04f,
};

/* Inverse, 0 to 20.644 mV. */
static const float k_inverse_to_500[] = {
    0.000000e+00f,  2.508355e+01f, 7.860106e-02f,  -2.503131e-01f, 8.315270e-02f,
    -1.228034e-02f, 9.804036e-04f, -4.413030e-05f, 1.057734e-06f,  -1.052755e-08f,
};

/* Inverse, 20.644 to 54.886 mV. */
static const float k_inverse_to_1372[] = {
    -1.318058e+02f, 4.830222e+01f, -1.646031e+00f, 5.464731e-02f, -9.650715e-04f, 8.802193e-06f, -3.110810e-08f,
};

#endif
