/* The control loop: PID in proportional-band form, output 0 (off) to 1 (full power).

   output = (error + integral of error / integral_s - derivative_s * slope of the reading) / band, held in its window.
   The derivative acts on the reading alone, so that a new set point gives no kick. */
#ifndef KC4_PID_H
#define KC4_PID_H

struct pid_tuning {
    float band_c;       /* error that alone asks for full power, degrees C, above 0 */
    float integral_s;   /* integral time in seconds; 0 switches integral action off */
    float derivative_s; /* derivative time in seconds; 0 switches derivative action off */
    float output_min;   /* the output window, within 0 to 1 */
    float output_max;
};

struct pid {
    float integral; /* contribution to the output, in units of output */
    float slope;    /* filtered slope of the reading, C per second */
    float last_c;
    int primed; /* last_c holds a reading */
};

void pid_reset(struct pid *pid);

/* One step of dt seconds (above 0). Returns the output. */
float pid_step(struct pid *pid, const struct pid_tuning *tuning, float set_c, float reading_c, float dt);

#endif
