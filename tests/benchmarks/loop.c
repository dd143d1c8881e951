/* The loop of simulator/run_kernel.py in C, for the features that the film unwind uses.

Web, roll with runout, friction brake, rollers with dry drag, load cell, PI controller; sticking and
release, web break, dead times, events. Equations, names and units are those of simulator/kernel.py
and simulator/control_kernel.py. Left out, because the film unwind has none of it: other devices,
splices, runout of rollers and nip, relay, schedule, taper, derivative, rate limits, deadband, feed,
hold on web break, drift, quantisation and dropout of the reading.

Written as a careful programmer would who wants it fast but still readable, built with -O3.
film_unwind.py compiles it, gives it what simulate gives to the compiled kernel, and compares.
*/

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>

enum { MOST_SPANS = 8, MOST_STATES = 3 * MOST_SPANS + 3 };

typedef struct {
    int64_t spans, cell;
    double length[MOST_SPANS];
    double roller_radius[MOST_SPANS], roller_inertia[MOST_SPANS], roller_drag[MOST_SPANS];
    double stiffness, retardation, breaking_tension, arriving_strain;
    double core_radius, full_radius, core_inertia, web_inertia, thickness, runout;
    double bearing_drag, viscous_drag;
    double gear, residual_torque, full_torque, lag, breakaway, stribeck_speed, hysteresis, sticking;
    double filter_time, time_compression;
} Machine;

typedef struct {
    double zero, gain, low, high;
} Sensor;

typedef struct {
    double tension_range, scan_time, Kc, Ti, setpoint_weight, output_low, output_high;
    int64_t tracking, setpoint_follows, anti_windup;
} Controller;

/* The rows of `memory`, of `events` and of `record`, as in the compiled kernel. */
enum { INTEGRAL, DERIVATIVE, LAST_READING, LAST_OUTPUT, MODE, SETPOINT, MANUAL_OUTPUT };
enum { WORKING_SETPOINT = 9 };
enum { MANUAL, AUTOMATIC };
enum { SET_OUTPUT, SET_SETPOINT, TO_AUTOMATIC, TO_MANUAL, SET_LINE_SPEED };
enum { TIME, READING, OUTPUT, SETPOINT_N, LINE_SPEED, DIAMETER, IS_AUTOMATIC, WEB_TENSION, TORQUE,
       ROLL_SPEED, SLIP, COLUMNS };

typedef struct {
    double tension[MOST_SPANS]; /* of each span [N] */
    double drive[MOST_SPANS];   /* torque on each body without its dry friction [N m] */
    double hold[MOST_SPANS];    /* dry friction that it has at rest [N m] */
} Forces;

typedef struct {
    double from, to, begins, lasts;
} Ramp;

static double ramp(const Ramp *r, double t)
{
    if (r->lasts <= 0.0 || t >= r->begins + r->lasts)
        return r->to;
    return r->from + (r->to - r->from) * fmax(t - r->begins, 0.0) / r->lasts;
}

static double within(double value, double low, double high)
{
    return value < low ? low : value > high ? high : value;
}

static double flow(double speed, double upstream, double downstream)
{
    double strain = speed >= 0.0 ? upstream : downstream;
    return speed / (1.0 + (strain > 0.0 ? strain : 0.0));
}

/* Fill `rate` and `forces`; return the torque of the brake [N m]. */
static double derivative(const Machine *m, const double *state, const int64_t *direction,
                         double command, double line_speed, bool broken, double *rate,
                         Forces *forces)
{
    const int N = (int)m->spans;
    const double omega = state[N], radius = state[2 * N + 2];
    double arm = radius;
    if (m->runout > 0.0)
        arm += m->runout * cos(state[2 * N + 3]);

    double upstream_flow = flow(arm * omega, m->arriving_strain, state[0]);
    for (int j = 1; j <= N; j++) {
        double e = state[j - 1];
        double speed = j < N ? m->roller_radius[j - 1] * state[N + j] : line_speed;
        double leaving = flow(speed, e, j < N ? state[j] : e);
        rate[j - 1] = (1.0 + e) * (1.0 + e) / m->length[j - 1] * (leaving - upstream_flow);
        double pull = m->stiffness * (e + m->retardation * rate[j - 1]);
        forces->tension[j - 1] = broken || e <= 0.0 || pull < 0.0 ? 0.0 : pull;
        upstream_flow = leaving;
    }

    for (int j = 1; j < N; j++) {
        double turning = m->roller_radius[j - 1] * (forces->tension[j] - forces->tension[j - 1]);
        double slide = direction[j] * m->roller_drag[j - 1];
        forces->drive[j] = turning;
        forces->hold[j] = m->roller_drag[j - 1];
        rate[N + j] = direction[j] ? (turning - slide) / m->roller_inertia[j - 1] : 0.0;
        rate[2 * N + 3 + j] = state[N + j];
    }

    double torque =
        m->gear * (m->residual_torque + (m->full_torque - m->residual_torque) * state[2 * N] / 100.0);
    torque = fmax(torque, 0.0);
    double drive = arm * forces->tension[0] - m->viscous_drag * omega;
    double hold = m->bearing_drag + torque * m->breakaway;
    if (m->breakaway > 1.0) {
        double ratio = m->gear * omega / m->stribeck_speed;
        if (ratio * ratio < 40.0)
            torque *= 1.0 + (m->breakaway - 1.0) * exp(-ratio * ratio);
    }
    double sliding = m->bearing_drag + torque;
    torque *= (double)direction[0];
    if (direction[0] == 0 && hold > m->bearing_drag) {
        double held = fmax(fabs(drive) - m->bearing_drag, 0.0);
        torque = drive > 0.0 ? held : -held;
    }
    forces->drive[0] = drive;
    forces->hold[0] = hold;
    double r4 = radius * radius * radius * radius;
    double core4 = m->core_radius * m->core_radius * m->core_radius * m->core_radius;
    double inertia = m->core_inertia + m->web_inertia * (r4 - core4);
    rate[N] = direction[0] ? (drive - direction[0] * sliding) / inertia : 0.0;

    rate[2 * N] = (command - state[2 * N]) / m->lag;
    double seen = 0.5 * (forces->tension[m->cell - 1] + forces->tension[m->cell]);
    rate[2 * N + 1] = (seen - state[2 * N + 1]) / m->filter_time;
    double growth = -m->time_compression * m->thickness * omega / (2.0 * M_PI);
    if ((growth < 0.0 && radius <= m->core_radius) || (growth > 0.0 && radius >= m->full_radius))
        growth = 0.0;
    rate[2 * N + 2] = growth;
    rate[2 * N + 3] = omega;
    return torque;
}

/* One Runge-Kutta step of fourth order, in place. */
static void step(const Machine *m, double *state, int64_t *direction, double command,
                 const double speeds[3], double h, bool broken, Forces *forces)
{
    const int N = (int)m->spans, n = 3 * N + 3;
    double k1[MOST_STATES], k2[MOST_STATES], k3[MOST_STATES], k4[MOST_STATES], trial[MOST_STATES];

    derivative(m, state, direction, command, speeds[0], broken, k1, forces);
    bool released = false;
    for (int j = 0; j < N; j++)
        if (direction[j] == 0 && fabs(forces->drive[j]) > forces->hold[j]) {
            direction[j] = forces->drive[j] > 0.0 ? 1 : -1;
            released = true;
        }
    if (released)
        derivative(m, state, direction, command, speeds[0], broken, k1, forces);
    for (int i = 0; i < n; i++)
        trial[i] = state[i] + 0.5 * h * k1[i];
    derivative(m, trial, direction, command, speeds[1], broken, k2, forces);
    for (int i = 0; i < n; i++)
        trial[i] = state[i] + 0.5 * h * k2[i];
    derivative(m, trial, direction, command, speeds[1], broken, k3, forces);
    for (int i = 0; i < n; i++)
        trial[i] = state[i] + h * k3[i];
    derivative(m, trial, direction, command, speeds[2], broken, k4, forces);
    for (int i = 0; i < n; i++)
        state[i] += h / 6.0 * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i]);
    for (int j = 0; j < N; j++)
        if (state[N + j] * (double)direction[j] < 0.0) {
            if (fabs(forces->drive[j]) <= forces->hold[j]) {
                state[N + j] = 0.0;
                direction[j] = 0;
            } else {
                direction[j] = -direction[j];
            }
        }
}

/* One scan of the controller on a reading [N]; return the output [%]. */
static double control(const Controller *k, double *memory, double reading)
{
    const double h = k->scan_time;
    double y = 100.0 * reading / k->tension_range;
    memory[LAST_READING] = y;
    if (memory[MODE] == MANUAL && k->setpoint_follows)
        memory[SETPOINT] = fmax(reading, 0.0);
    memory[WORKING_SETPOINT] = memory[SETPOINT];
    double r = 100.0 * memory[SETPOINT] / k->tension_range;
    double error = r - y;
    double direct = k->Kc * (error - (1.0 - k->setpoint_weight) * r);
    double u;
    if (memory[MODE] == AUTOMATIC) {
        double wanted = direct + memory[INTEGRAL];
        u = within(wanted, k->output_low, k->output_high);
        if (k->Ti < INFINITY) {
            memory[INTEGRAL] += k->Kc * h / k->Ti * error;
            if (k->anti_windup)
                memory[INTEGRAL] += h / fmax(k->Ti, h) * (u - wanted);
        }
    } else {
        u = within(memory[MANUAL_OUTPUT], k->output_low, k->output_high);
        if (k->tracking)
            memory[INTEGRAL] = u - direct;
    }
    memory[LAST_OUTPUT] = u;
    return u;
}

/* Run all scans; the arguments are those of `run_kernel.run`. Return 0, or 1 without memory. */
int run(const Machine *m, const Sensor *s, const Controller *k, double *state, int64_t *direction,
        double *memory, const double *noise, int64_t scans, const double (*events)[4],
        int64_t event_count, const double (*pieces)[4], int64_t piece_count, int64_t output_scans,
        int64_t reading_scans, int64_t record_every, double line_speed, double first_output,
        double *record, double *broken_at)
{
    const int N = (int)m->spans;
    double *sent = malloc(sizeof(double) * (size_t)(scans + output_scans + 2));
    double *taken = malloc(sizeof(double) * (size_t)(scans + reading_scans + 2));
    if (!sent || !taken) {
        free(sent);
        free(taken);
        return 1;
    }
    for (int64_t i = 0; i < scans + output_scans + 2; i++)
        sent[i] = first_output;
    for (int64_t i = 0; i < scans + reading_scans + 2; i++)
        taken[i] = state[2 * N + 1];
    double stuck = first_output, played = first_output, rate[MOST_STATES];
    bool broken = false;
    Forces forces;
    Ramp line = {line_speed, line_speed, 0.0, 0.0};
    int64_t event = 0;
    for (int64_t scan = 0; scan < scans; scan++) {
        double t = (double)scan * k->scan_time;
        line_speed = ramp(&line, t);
        for (; event < event_count && events[event][0] <= (double)scan; event++) {
            double value = events[event][2];
            switch ((int)events[event][1]) {
            case SET_OUTPUT:
                memory[MANUAL_OUTPUT] = value;
                break;
            case SET_SETPOINT:
                memory[SETPOINT] = value;
                break;
            case TO_AUTOMATIC:
                memory[MODE] = AUTOMATIC;
                break;
            case TO_MANUAL:
                memory[MODE] = MANUAL;
                memory[MANUAL_OUTPUT] = memory[LAST_OUTPUT];
                break;
            case SET_LINE_SPEED:
                line = (Ramp){line_speed, value, t, events[event][3]};
                if (line.lasts <= 0.0)
                    line_speed = value;
                break;
            }
        }

        double reading = within(s->gain * (taken[scan] + noise[scan]) + s->zero, s->low, s->high);
        double output = control(k, memory, reading);
        if (fabs(output - stuck) >= m->sticking)
            stuck = output;
        played = fmin(fmax(played, stuck - 0.5 * m->hysteresis), stuck + 0.5 * m->hysteresis);
        sent[scan + output_scans + 1] = played;

        if (scan % record_every == 0) {
            record[TORQUE] =
                derivative(m, state, direction, sent[scan], line_speed, broken, rate, &forces);
            record[TIME] = t;
            record[READING] = reading;
            record[OUTPUT] = output;
            record[SETPOINT_N] = memory[WORKING_SETPOINT];
            record[LINE_SPEED] = line_speed;
            record[DIAMETER] = 2.0 * state[2 * N + 2];
            record[IS_AUTOMATIC] = memory[MODE] == AUTOMATIC;
            record[WEB_TENSION] = 0.5 * (forces.tension[m->cell - 1] + forces.tension[m->cell]);
            record[ROLL_SPEED] = record[SLIP] = state[N];
            for (int i = 0; i < N; i++)
                record[COLUMNS + i] = forces.tension[i];
            record += COLUMNS + N;
        }

        for (int64_t piece = 0; piece < piece_count; piece++) {
            double lasts = pieces[piece][0], h = lasts / pieces[piece][1];
            int steps = (int)pieces[piece][1];
            double command = pieces[piece][2] != 0.0 ? sent[scan + 1] : sent[scan];
            for (int i = 0; i < steps; i++) {
                double now = t + i * h;
                double speeds[3] = {ramp(&line, now), ramp(&line, now + 0.5 * h),
                                    ramp(&line, now + h)};
                step(m, state, direction, command, speeds, h, broken, &forces);
                for (int span = 0; span < N && !broken; span++)
                    if (forces.tension[span] > m->breaking_tension) {
                        broken = true;
                        *broken_at = now + h;
                    }
            }
            t += lasts;
            if (pieces[piece][3] != 0.0)
                taken[scan + 1 + reading_scans] = state[2 * N + 1];
        }
    }
    free(sent);
    free(taken);
    return 0;
}
