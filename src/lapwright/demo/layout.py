"""Places in the arrays that the compiled loops share with the rest."""

from __future__ import annotations

# state
X, Y, PSI, VX, VY, R, W0, W1, W2, W3, AX, AY, STEER, THR, BRK, GEAR, SHIFT, S, N, RPM = range(20)
AXT, AYT, RHO_F, RHO_R, SLIP_F, SLIP_R, NORM, CAP_F, CAP_R, DOWN, ON_KERB, OFF = range(20, 32)
PHASE, CORNER, SINCE, WARP, WARP_AT, WARP_END, WANT, HOLD, PUSH, TRIG, IDLE, STEP_T = range(32, 44)
FELT_X, FELT_Y, JABBED, CAPPED, WIDE = range(44, 49)
STATES = 49

# columns of the road grid (as road.py)
GX, GY, GHEADING, GCURVE, GSLOPE, GBANK, GVERT, GLEFT, GRIGHT = range(9)
GKERB_LEFT, GKERB_RIGHT, GKERB_GRIP, GGRIP, GROUGH, GZ = range(9, 15)

# columns of the plan
LN, LX, LY, LH, LK, LV, LF, LNOISE = range(8)

# phases of the driver
FLAT, LIFTED, BRAKING, WAITING, DRIVING = range(5)

# reference kinds
PLACE, STRAIGHT, SPEED, ALIGN, VIEW, PAST = range(6)

#: Value of TRIG while a turned wheel is awaited back.
ARMED = -2.0

# columns of the script: one row for each acted corner
(
    Q_BEND, Q_LIFT_KIND, Q_LIFT_A, Q_LIFT_B, Q_LIFT_C, Q_LIFT_D, Q_LIFT_DT,
    Q_BRAKE_KIND, Q_BRAKE_A, Q_BRAKE_B, Q_BRAKE_C, Q_BRAKE_D, Q_BRAKE_DT,
    Q_PICK_KIND, Q_PICK_A, Q_PICK_B, Q_PICK_C, Q_PICK_D, Q_PICK_DT,
    Q_BRAKED, Q_PLAN_BRAKE, Q_PLAN_REL, Q_PLAN_MIN, Q_PLAN_PICK, Q_PLAN_END, Q_RAMP,
    Q_LET_GO, Q_DRAG, Q_STEP_LEVEL, Q_STEP_TIME, Q_GEAR_FLOOR, Q_OPEN_FROM, Q_DRAG_TO, Q_LOOSE,
) = range(34)  # fmt: skip
SCRIPT = 34

# rows of marks: what happens at a place whatever the phase
M_KIND, M_AT, M_LENGTH, M_SIZE = range(4)
DIP, JAB = 0.0, 1.0

# skill
K_SHARE, K_STEER, K_DAMP, K_PREVIEW, K_LAG, K_PEDAL, K_SPEED, K_WAIT, K_WHEEL_NOISE = range(9)
SKILLS = 9

# events written for each script row: time, then place
E_LIFT, E_BRAKE, E_BRAKE_END, E_PICK, E_FULL = range(5)
EVENTS = 5

# output columns; those up to KEPT stay in a session, the others are of one lap
O_T, O_X, O_Y, O_S, O_N, O_PSI, O_VX, O_VY, O_R, O_AX, O_AY, O_STEER, O_THR, O_BRK = range(14)
O_GEAR, O_RPM, O_W0, O_W1, O_W2, O_W3, O_Z, O_NORM, O_RHO_F, O_PHASE = range(14, 24)
O_FELT_X, O_FELT_Y, O_OFF = range(24, 27)
#: What the car feels upward is what presses it on the road.
O_FELT_Z = O_NORM
KEPT = 26
OUTPUTS = 27

# day
D_GRIP, D_MASS, D_WIND_X, D_WIND_Y, D_RHO = range(5)
