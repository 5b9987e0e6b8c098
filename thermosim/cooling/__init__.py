"""cooling"""
