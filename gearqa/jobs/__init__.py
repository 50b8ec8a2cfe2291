"""The jobs of gearqa, one public function each: typed in and out, usable from a notebook.

A job reads its inputs, lets the packages below do the work and returns their result. It writes no page
and prints nothing; the command line parses, calls one of these functions and lays the result out.
"""
