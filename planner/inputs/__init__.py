"""The inputs: part files and machine profiles, checked and turned into frozen models in mm and radians."""
