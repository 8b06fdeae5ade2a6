"""The web: one blueprint per door. A route authorises, binds its form, calls one function, commits, answers."""
