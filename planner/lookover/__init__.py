"""A profile is looked over: do its own solids run through each other, is anything missing, can it do what it says?"""
