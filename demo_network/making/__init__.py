"""The modules that make the demo network; see make_demo.py beside this folder."""
