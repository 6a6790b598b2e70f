"""Self-regulation of a constant-voltage arc, solved with SciPy: see README.md beside this file.

L dI/dt = U0 - Rs I - U,  dx/dt = W - (a I + b x I^2),  U = Ua + E (H - x) + (Ra + r x + Rt) I
"""
from scipy.integrate import solve_ivp

RS, L = 0.010, 350e-6
UA, E, RA, R, RT = 20.0, 0.7, 0.012, 5e-4, 5e-4
A, B = 0.20, 2.0e-5
U0, W, H = 34.5, 105.0, 26.0
LIFT = 5.0

def slopes(_, state, height):
    current, stick_out = state
    load = UA + E * (height - stick_out) + (RA + R * stick_out + RT) * current
    return [(U0 - RS * current - load) / L, W - current * (A + B * stick_out * current)]

def solve(state, height, seconds, at=None):
    return solve_ivp(slopes, (0, seconds), state, method="Radau", args=(height,), t_eval=at,
                     rtol=1e-11, atol=1e-11)

steady = solve([300.0, 20.0], H, 20.0).y[:, -1]
times = [step / 200 for step in range(201)]
lifted = solve(steady, H + LIFT, 1.0, times)
print("time_s,current_a,stick_out_mm")
for time, current, stick_out in zip(lifted.t, *lifted.y):
    print(f"{time:.3f},{current:.9f},{stick_out:.9f}")
